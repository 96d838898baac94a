-- A stretch that a person cut out of a longer log, as the log was read: from the start of its first row to the end of its
-- last one, ns from that log's first row. Both NULL: the log as it was read.
ALTER TABLE segment ADD COLUMN cut_start_ns INTEGER CHECK (cut_start_ns >= 0);
ALTER TABLE segment ADD COLUMN cut_end_ns INTEGER
    CHECK ((cut_start_ns IS NULL) = (cut_end_ns IS NULL) AND cut_end_ns > cut_start_ns);
DROP INDEX segment_of;
CREATE UNIQUE INDEX segment_of ON segment (capture_id, member, n, layout_id, coalesce(cut_start_ns, -1)) WHERE visible = 1;

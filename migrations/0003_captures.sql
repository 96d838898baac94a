-- Frames are the evidence: the log files, byte for byte, and what reading them gave.

CREATE TABLE capture (
    id          INTEGER PRIMARY KEY,
    -- SHA-256 of the bytes as they came; NULL while they are still coming.
    digest      BLOB CHECK (length(digest) = 32),
    name        TEXT NOT NULL,
    bytes       INTEGER NOT NULL DEFAULT 0,
    uploaded_us INTEGER NOT NULL,
    person_id   INTEGER REFERENCES person (id),
    rig_key_id  INTEGER REFERENCES rig_key (id),
    rig_id      INTEGER REFERENCES rig (id),
    -- Start that a person or the upload gave, for logs without a wall clock; microseconds UTC.
    start_us    INTEGER,
    -- 0 while chunks are staged; a sweep removes what was never made visible.
    visible     INTEGER NOT NULL DEFAULT 0 CHECK (visible IN (0, 1)),
    -- Three outcomes: read, ask a person, refuse; NULL while staged.
    outcome     TEXT CHECK (outcome IN ('read', 'ask', 'refuse')),
    -- The question or the refusal, in words.
    says        TEXT NOT NULL DEFAULT '',
    -- The question as JSON (weighhouse_measure::intake::Question), where there is one.
    question    TEXT,
    version     INTEGER NOT NULL DEFAULT 1,
    CHECK (visible = 0 OR (digest IS NOT NULL AND outcome IS NOT NULL))
) STRICT;
CREATE UNIQUE INDEX capture_digest ON capture (digest) WHERE visible = 1;
CREATE INDEX capture_staged ON capture (visible) WHERE visible = 0;

-- The bytes, in pieces of at most 1 MiB, each compressed by itself (zstd).
CREATE TABLE capture_chunk (
    capture_id INTEGER NOT NULL REFERENCES capture (id) ON DELETE CASCADE,
    n          INTEGER NOT NULL,
    body       BLOB NOT NULL,
    PRIMARY KEY (capture_id, n)
) STRICT, WITHOUT ROWID;

-- How the columns of a kind of log are read, remembered by the shape of its header.
CREATE TABLE layout (
    id         INTEGER PRIMARY KEY,
    shape      TEXT NOT NULL,
    version    INTEGER NOT NULL,
    -- weighhouse_measure::intake::Layout as JSON
    body       TEXT NOT NULL,
    -- NULL: proved by the data; else the person who answered.
    decided_by INTEGER REFERENCES person (id),
    made_us    INTEGER NOT NULL,
    UNIQUE (shape, version)
) STRICT;

-- A stretch of a capture, read with one layout version.
CREATE TABLE segment (
    id            INTEGER PRIMARY KEY,
    capture_id    INTEGER NOT NULL REFERENCES capture (id) ON DELETE CASCADE,
    -- File inside a container; empty for plain logs.
    member        TEXT NOT NULL DEFAULT '',
    n             INTEGER NOT NULL,
    layout_id     INTEGER NOT NULL REFERENCES layout (id),
    kind          TEXT NOT NULL CHECK (kind IN ('frames', 'companion')),
    rows          INTEGER NOT NULL,
    span_ns       INTEGER NOT NULL,
    wall_start_ns INTEGER,
    -- JSON list of {line, column, says}
    problems      TEXT NOT NULL DEFAULT '[]',
    -- 0 while tracks are staged, as with captures.
    visible       INTEGER NOT NULL DEFAULT 0 CHECK (visible IN (0, 1))
) STRICT;
CREATE UNIQUE INDEX segment_of ON segment (capture_id, member, n, layout_id) WHERE visible = 1;
CREATE INDEX segment_capture ON segment (capture_id);
CREATE INDEX segment_staged ON segment (visible) WHERE visible = 0;

CREATE TABLE track (
    id         INTEGER PRIMARY KEY,
    segment_id INTEGER NOT NULL REFERENCES segment (id) ON DELETE CASCADE,
    n          INTEGER NOT NULL,
    -- 'at' and 'frame' (i64 nanoseconds), or a role's word (f64 in its base unit)
    role       TEXT NOT NULL,
    unit       TEXT NOT NULL,
    name       TEXT NOT NULL,
    UNIQUE (segment_id, n)
) STRICT;

-- 65 536 values a chunk, compressed (pco).
CREATE TABLE track_chunk (
    track_id INTEGER NOT NULL REFERENCES track (id) ON DELETE CASCADE,
    n        INTEGER NOT NULL,
    body     BLOB NOT NULL,
    PRIMARY KEY (track_id, n)
) STRICT, WITHOUT ROWID;

-- The strip's pyramid: extremes of blocks of rows, level by level.
CREATE TABLE strip_level (
    segment_id INTEGER NOT NULL REFERENCES segment (id) ON DELETE CASCADE,
    level      INTEGER NOT NULL,
    body       BLOB NOT NULL,
    PRIMARY KEY (segment_id, level)
) STRICT, WITHOUT ROWID;

CREATE TABLE pass (
    id              INTEGER PRIMARY KEY,
    key             TEXT NOT NULL UNIQUE,
    cell_id         INTEGER NOT NULL REFERENCES cell (id),
    segment_id      INTEGER NOT NULL UNIQUE REFERENCES segment (id),
    -- Number within its cell, from 1.
    number          INTEGER NOT NULL CHECK (number > 0),
    rig_base_id     INTEGER NOT NULL REFERENCES rig_base (id),
    unit_id         INTEGER NOT NULL REFERENCES unit (id),
    driver_id       INTEGER NOT NULL REFERENCES driver (id),
    build_id        INTEGER NOT NULL REFERENCES build (id),
    -- Both NULL: the scene's standard window. Another one needs a reason.
    window_start_ns INTEGER,
    window_end_ns   INTEGER,
    window_reason   TEXT NOT NULL DEFAULT '',
    made_us         INTEGER NOT NULL,
    version         INTEGER NOT NULL DEFAULT 1,
    UNIQUE (cell_id, number),
    CHECK ((window_start_ns IS NULL) = (window_end_ns IS NULL)),
    CHECK (window_end_ns > window_start_ns),
    CHECK (window_start_ns IS NULL OR length(trim(window_reason)) > 0)
) STRICT;
CREATE INDEX pass_rig_base ON pass (rig_base_id);

-- A second log of the same pass from another logger, placed on the pass's clock or not yet.
CREATE TABLE companion (
    id         INTEGER PRIMARY KEY,
    pass_id    INTEGER NOT NULL REFERENCES pass (id),
    segment_id INTEGER NOT NULL UNIQUE REFERENCES segment (id),
    -- Pass time of its first row; NULL: not placed, and its power is not used.
    offset_ns  INTEGER,
    drift_ppb  INTEGER NOT NULL DEFAULT 0,
    placed_by  TEXT NOT NULL DEFAULT '' CHECK (placed_by IN ('', 'wall clock', 'start time', 'hand')),
    version    INTEGER NOT NULL DEFAULT 1,
    CHECK ((offset_ns IS NULL) = (placed_by = ''))
) STRICT;
CREATE INDEX companion_pass ON companion (pass_id);

-- Keep, set aside or run again: a person's, with a reason. The newest of a pass stands; 'open' takes back.
CREATE TABLE ruling (
    id        INTEGER PRIMARY KEY,
    pass_id   INTEGER NOT NULL REFERENCES pass (id),
    verdict   TEXT NOT NULL CHECK (verdict IN ('keep', 'set aside', 'run again', 'open')),
    reason    TEXT NOT NULL DEFAULT '',
    -- JSON list of the kinds of flag that stood when it was made: only a new kind re-opens it.
    saw       TEXT NOT NULL DEFAULT '[]',
    person_id INTEGER NOT NULL REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    CHECK (verdict IN ('open', 'keep') OR length(trim(reason)) > 0)
) STRICT;
CREATE INDEX ruling_pass ON ruling (pass_id, id);
CREATE TRIGGER ruling_no_update BEFORE UPDATE ON ruling
BEGIN SELECT RAISE(ABORT, 'rulings are append-only'); END;
CREATE TRIGGER ruling_no_delete BEFORE DELETE ON ruling
BEGIN SELECT RAISE(ABORT, 'rulings are append-only'); END;

CREATE TABLE remark (
    id        INTEGER PRIMARY KEY,
    pass_id   INTEGER NOT NULL REFERENCES pass (id),
    -- Both NULL: on the whole pass.
    start_ns  INTEGER,
    end_ns    INTEGER,
    says      TEXT NOT NULL CHECK (length(trim(says)) BETWEEN 1 AND 4000),
    person_id INTEGER NOT NULL REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    CHECK ((start_ns IS NULL) = (end_ns IS NULL))
) STRICT;
CREATE INDEX remark_pass ON remark (pass_id);

-- A cache, thrown away at will: what measures and screens gave, under the digest of all they rest on.
CREATE TABLE pass_result (
    pass_id INTEGER NOT NULL REFERENCES pass (id) ON DELETE CASCADE,
    kind    TEXT NOT NULL CHECK (kind IN ('measures', 'flags')),
    key     TEXT NOT NULL,
    body    TEXT NOT NULL,
    PRIMARY KEY (pass_id, kind)
) STRICT, WITHOUT ROWID;

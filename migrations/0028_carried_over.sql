-- What a piece takes over from earlier ones, so that nobody has to run last month's card again on the day before a deadline.

CREATE TABLE carried (
    id        INTEGER PRIMARY KEY,
    piece_id  INTEGER NOT NULL REFERENCES piece (id),
    -- The part as it is run.
    tuning_id INTEGER NOT NULL REFERENCES tuning (id),
    -- The moment of carrying: what was recorded before is 'earlier', what comes later is fresh.
    from_us   INTEGER NOT NULL,
    reason    TEXT NOT NULL DEFAULT '' CHECK (length(reason) <= 400),
    person_id INTEGER NOT NULL REFERENCES person (id),
    -- Let go again; the row stays so that it can be taken back with its moment.
    let_go_us INTEGER,
    version   INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE UNIQUE INDEX carried_once ON carried (piece_id, tuning_id) WHERE let_go_us IS NULL;

CREATE TABLE carried_cell (
    id         INTEGER PRIMARY KEY,
    carried_id INTEGER NOT NULL REFERENCES carried (id),
    cell_id    INTEGER NOT NULL REFERENCES cell (id),
    -- Carrying selected it for the piece; letting go takes it out again.
    brought    INTEGER NOT NULL CHECK (brought IN (0, 1)),
    -- To be run again as a spot check.
    spot_check INTEGER NOT NULL CHECK (spot_check IN (0, 1)),
    UNIQUE (carried_id, cell_id)
) STRICT;
CREATE INDEX carried_cell_cell ON carried_cell (cell_id);

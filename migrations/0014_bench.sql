-- The bench: what the steps of a session take, and addresses that show a rig's next pass beside it.

-- The team's own times, in seconds. Without the row the program's own are used.
CREATE TABLE bench_cost (
    id        INTEGER PRIMARY KEY CHECK (id = 1),
    -- Another part in the rig, up to the running system.
    swap_s    INTEGER NOT NULL CHECK (swap_s BETWEEN 0 AND 86400),
    -- Another driver.
    driver_s  INTEGER NOT NULL CHECK (driver_s BETWEEN 0 AND 86400),
    -- A restart: after another driver, and with another tuning.
    restart_s INTEGER NOT NULL CHECK (restart_s BETWEEN 0 AND 86400),
    -- Loading a scene at a setting.
    load_s    INTEGER NOT NULL CHECK (load_s BETWEEN 0 AND 86400),
    -- Running warm before anything counts.
    soak_s    INTEGER NOT NULL CHECK (soak_s BETWEEN 0 AND 86400),
    -- Handling a pass, beside its recording.
    pass_s    INTEGER NOT NULL CHECK (pass_s BETWEEN 0 AND 86400),
    version   INTEGER NOT NULL DEFAULT 1
) STRICT;

-- A secret address that shows one rig's board for one piece and nothing else, without a sign-in: for a phone beside
-- the rig. Only its hash is kept; it is shown once.
CREATE TABLE board (
    id         INTEGER PRIMARY KEY,
    rig_id     INTEGER NOT NULL REFERENCES rig (id),
    piece_id   INTEGER NOT NULL REFERENCES piece (id),
    token_hash BLOB NOT NULL UNIQUE CHECK (length(token_hash) = 32),
    made_by    INTEGER NOT NULL REFERENCES person (id),
    made_us    INTEGER NOT NULL,
    -- When it was opened last; each opening within a minute of another counts as the same.
    opened_us  INTEGER,
    revoked_us INTEGER
) STRICT;
CREATE INDEX board_piece ON board (piece_id);

-- Which screens a piece runs, and how strict. Without a row all run as they are calibrated.

CREATE TABLE piece_screens (
    id       INTEGER PRIMARY KEY,
    piece_id INTEGER NOT NULL UNIQUE REFERENCES piece (id),
    -- JSON: for each kind of flag that is not as usual, 'twice', 'four times' or 'off'.
    body     TEXT NOT NULL,
    version  INTEGER NOT NULL DEFAULT 1
) STRICT;

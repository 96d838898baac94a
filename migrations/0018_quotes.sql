-- Numbers in print that nobody measured: from a data sheet, a maker's claim, a shop. Each has a source and the day on
-- which it was read. They belong to a piece; what is measured is a figure.

CREATE TABLE quote (
    id        INTEGER PRIMARY KEY,
    piece_id  INTEGER NOT NULL REFERENCES piece (id),
    -- As in 'memory of the Curlew'.
    name      TEXT NOT NULL CHECK (length(trim(name)) BETWEEN 1 AND 80),
    -- The part that it is of; NULL: of none.
    part_id   INTEGER REFERENCES part (id),
    -- Decimal text.
    value     TEXT NOT NULL CHECK (value GLOB '[0-9]*' AND NOT value GLOB '*[^0-9.]*'),
    -- 'W', 'GB', ... or the code of a currency.
    unit      TEXT NOT NULL CHECK (length(unit) BETWEEN 1 AND 4),
    -- Where it stands, in words.
    source    TEXT NOT NULL CHECK (length(trim(source)) BETWEEN 1 AND 400),
    -- Its address, if it has one.
    link      TEXT NOT NULL DEFAULT '' CHECK (link = '' OR link GLOB 'http://*' OR link GLOB 'https://*'),
    -- The day on which it was read, microseconds UTC.
    dated_us  INTEGER NOT NULL,
    -- The quote that its change is told against.
    over_id   INTEGER REFERENCES quote (id) CHECK (over_id <> id),
    version   INTEGER NOT NULL DEFAULT 1,
    UNIQUE (piece_id, name)
) STRICT;

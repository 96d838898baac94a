-- Kinds of reader: for whom a piece asks whether a part is worth it. They belong to the piece and go out with its pack.

CREATE TABLE reader (
    id             INTEGER PRIMARY KEY,
    piece_id       INTEGER NOT NULL REFERENCES piece (id),
    -- As in 'plays Orchard of Static daily'.
    name           TEXT NOT NULL CHECK (length(trim(name)) BETWEEN 1 AND 80),
    -- The part they own; NULL: they buy new, and the piece's baseline is what they would buy else.
    owned_part_id  INTEGER REFERENCES part (id),
    -- By which number they judge.
    judges_by      TEXT NOT NULL DEFAULT 'average' CHECK (judges_by IN ('average', 'low')),
    -- The lead that they ask for, tenths of a per cent: declared before the answer is seen.
    asks_permille  INTEGER NOT NULL CHECK (asks_permille BETWEEN 0 AND 10000),
    -- Refresh rate of their screen; NULL: not asked.
    refresh_hz     INTEGER CHECK (refresh_hz BETWEEN 20 AND 1000),
    hours_a_week   INTEGER NOT NULL DEFAULT 0 CHECK (hours_a_week BETWEEN 0 AND 168),
    -- Price of a kilowatt-hour, decimal text with a currency; both empty: not asked.
    kwh_price      TEXT NOT NULL DEFAULT '' CHECK (kwh_price = '' OR (kwh_price GLOB '[0-9]*' AND NOT kwh_price GLOB '*[^0-9.]*')),
    kwh_currency   TEXT NOT NULL DEFAULT '' CHECK (kwh_currency = '' OR kwh_currency GLOB '[A-Z][A-Z][A-Z]'),
    -- What they play and how: JSON of work::readers::Plays, whole weights by id of scene and of setting.
    plays          TEXT NOT NULL DEFAULT '{"scenes":{},"settings":{}}',
    version        INTEGER NOT NULL DEFAULT 1,
    UNIQUE (piece_id, name),
    CHECK ((kwh_price = '') = (kwh_currency = ''))
) STRICT;

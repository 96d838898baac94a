-- Charts that a team keeps for a piece, each with its own title, note and scenes; and the team's own colour in them.

CREATE TABLE chart (
    id       INTEGER PRIMARY KEY,
    piece_id INTEGER NOT NULL REFERENCES piece (id),
    -- What it shows.
    kind     TEXT NOT NULL CHECK (kind IN ('bars', 'ratios', 'scenes', 'across', 'tuning', 'latency', 'value', 'readers',
                                           'shares', 'strips')),
    -- The choices of the page that it comes from, as the query of its address.
    asked    TEXT NOT NULL CHECK (length(asked) <= 2000),
    -- Instead of its own; empty: its own.
    title    TEXT NOT NULL DEFAULT '' CHECK (length(title) <= 160),
    -- Stands first in its foot; may be empty.
    note     TEXT NOT NULL DEFAULT '' CHECK (length(note) <= 400),
    -- JSON list of the scenes that it shows, in their order; [] is all.
    scenes   TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(scenes)),
    version  INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE INDEX chart_piece ON chart (piece_id);

-- How the team's charts look. Without a row they have the program's own colours.
CREATE TABLE chart_look (
    id      INTEGER PRIMARY KEY CHECK (id = 1),
    -- The colour of the first series, #rrggbb; empty: the program's own.
    accent  TEXT NOT NULL DEFAULT '' CHECK (accent = '' OR (length(accent) = 7 AND accent GLOB '#[0-9a-f]*')),
    version INTEGER NOT NULL DEFAULT 1
) STRICT;

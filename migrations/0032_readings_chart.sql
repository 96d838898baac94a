-- What was read of parts can be kept as a chart. SQLite alters no check: the table is made anew with its rows.

CREATE TABLE chart_anew (
    id       INTEGER PRIMARY KEY,
    piece_id INTEGER NOT NULL REFERENCES piece (id),
    -- What it shows.
    kind     TEXT NOT NULL CHECK (kind IN ('bars', 'ratios', 'scenes', 'across', 'tuning', 'latency', 'value', 'worth',
                                           'readers', 'shares', 'strips', 'readings')),
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
INSERT INTO chart_anew SELECT id, piece_id, kind, asked, title, note, scenes, version FROM chart;
DROP TABLE chart;
ALTER TABLE chart_anew RENAME TO chart;
CREATE INDEX chart_piece ON chart (piece_id);

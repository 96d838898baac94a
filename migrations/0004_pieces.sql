-- A piece selects cells and adds its own choices; figures are what two people agreed on.

CREATE TABLE piece (
    id                INTEGER PRIMARY KEY,
    key               TEXT NOT NULL UNIQUE,
    name              TEXT NOT NULL CHECK (length(trim(name)) BETWEEN 1 AND 120),
    kind              TEXT NOT NULL CHECK (kind IN ('card', 'processor', 'device')),
    deadline_us       INTEGER,
    -- IANA name in which the deadline was said.
    deadline_zone     TEXT NOT NULL DEFAULT 'UTC',
    passes_wanted     INTEGER NOT NULL DEFAULT 3 CHECK (passes_wanted BETWEEN 1 AND 50),
    low_definition    TEXT NOT NULL DEFAULT 'quantile' CHECK (low_definition IN ('quantile', 'tail mean', 'time share')),
    -- Tail share of the low in tenths of a per cent: 10 = 1%, 1 = 0.1%.
    low_permille      INTEGER NOT NULL DEFAULT 10 CHECK (low_permille IN (1, 10)),
    -- Margins in tenths of a per cent.
    margin_permille      INTEGER NOT NULL DEFAULT 20 CHECK (margin_permille BETWEEN 1 AND 500),
    hand_margin_permille INTEGER NOT NULL DEFAULT 30 CHECK (hand_margin_permille BETWEEN 1 AND 500),
    precision_permille   INTEGER NOT NULL DEFAULT 10 CHECK (precision_permille BETWEEN 1 AND 500),
    baseline_part_id  INTEGER REFERENCES part (id),
    -- One person does it all: a second look an hour later, marked so for ever.
    working_alone     INTEGER NOT NULL DEFAULT 0 CHECK (working_alone IN (0, 1)),
    made_us           INTEGER NOT NULL,
    version           INTEGER NOT NULL DEFAULT 1
) STRICT;

CREATE TABLE piece_cell (
    id       INTEGER PRIMARY KEY,
    piece_id INTEGER NOT NULL REFERENCES piece (id),
    cell_id  INTEGER NOT NULL REFERENCES cell (id),
    UNIQUE (piece_id, cell_id)
) STRICT;
CREATE INDEX piece_cell_cell ON piece_cell (cell_id);

-- The one driver that the piece declares for a part.
CREATE TABLE piece_driver (
    id        INTEGER PRIMARY KEY,
    piece_id  INTEGER NOT NULL REFERENCES piece (id),
    part_id   INTEGER NOT NULL REFERENCES part (id),
    driver_id INTEGER NOT NULL REFERENCES driver (id),
    UNIQUE (piece_id, part_id)
) STRICT;

-- The noise prior (d0, s0^2 per measure and kind of scene), by version; renewed only by a person.
CREATE TABLE noise_prior (
    id        INTEGER PRIMARY KEY,
    piece_id  INTEGER NOT NULL REFERENCES piece (id),
    number    INTEGER NOT NULL CHECK (number > 0),
    -- JSON, numbers as decimal strings
    body      TEXT NOT NULL,
    person_id INTEGER REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    UNIQUE (piece_id, number)
) STRICT;

CREATE TABLE figure (
    id        INTEGER PRIMARY KEY,
    key       TEXT NOT NULL UNIQUE,
    piece_id  INTEGER NOT NULL REFERENCES piece (id),
    -- What it is, typed: canonical JSON of work::figures::What
    what      TEXT NOT NULL,
    name      TEXT NOT NULL CHECK (length(trim(name)) BETWEEN 1 AND 200),
    -- Decimal places in print.
    places    INTEGER NOT NULL CHECK (places BETWEEN 0 AND 6),
    note      TEXT NOT NULL DEFAULT '',
    person_id INTEGER NOT NULL REFERENCES person (id),
    made_us   INTEGER NOT NULL,
    version   INTEGER NOT NULL DEFAULT 1,
    UNIQUE (piece_id, what)
) STRICT;

-- What people did with a figure, append-only. Its state follows from the steps and the present digest.
CREATE TABLE figure_step (
    id        INTEGER PRIMARY KEY,
    figure_id INTEGER NOT NULL REFERENCES figure (id),
    step      TEXT NOT NULL CHECK (step IN ('propose', 'agree', 'withdraw')),
    person_id INTEGER NOT NULL REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    -- SHA-256 of `rests_on`, the canonical text of all it rests on.
    digest    BLOB NOT NULL CHECK (length(digest) = 32),
    rests_on  TEXT NOT NULL,
    -- The value in full and as it is printed, both as decimal text.
    value     TEXT NOT NULL,
    shown     TEXT NOT NULL,
    -- Agreed by the proposer working alone, after an hour.
    alone     INTEGER NOT NULL DEFAULT 0 CHECK (alone IN (0, 1))
) STRICT;
CREATE INDEX figure_step_figure ON figure_step (figure_id, id);
CREATE TRIGGER figure_step_no_update BEFORE UPDATE ON figure_step
BEGIN SELECT RAISE(ABORT, 'what people did with a figure is append-only'); END;
CREATE TRIGGER figure_step_no_delete BEFORE DELETE ON figure_step
BEGIN SELECT RAISE(ABORT, 'what people did with a figure is append-only'); END;

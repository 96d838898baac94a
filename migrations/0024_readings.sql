-- Readings: values that come from no frame log, such as noise at a distance, power at the wall, a score or the seconds
-- of a render. The team defines a kind once; a reading is one sitting with its repeats, on one rig, with one unit.

CREATE TABLE reading_kind (
    id      INTEGER PRIMARY KEY,
    name    TEXT NOT NULL UNIQUE CHECK (length(trim(name)) BETWEEN 1 AND 80),
    -- What begins with 'dB' is a level: put together as energies, never as numbers.
    unit    TEXT NOT NULL CHECK (length(trim(unit)) BETWEEN 1 AND 12),
    better  TEXT NOT NULL CHECK (better IN ('higher', 'lower')),
    -- What it is a number of: what is read at the wall is the whole system's, never the part's.
    read_at TEXT NOT NULL CHECK (read_at IN ('part', 'wall', 'air')),
    -- Repeats wanted.
    repeats INTEGER NOT NULL DEFAULT 3 CHECK (repeats BETWEEN 1 AND 50),
    -- How it is read, in words: distance and side of the meter, program and version, minutes of soak.
    method  TEXT NOT NULL DEFAULT '' CHECK (length(method) <= 2000),
    version INTEGER NOT NULL DEFAULT 1
) STRICT;

CREATE TABLE reading (
    id          INTEGER PRIMARY KEY,
    key         TEXT NOT NULL UNIQUE,
    kind_id     INTEGER NOT NULL REFERENCES reading_kind (id),
    tuning_id   INTEGER NOT NULL REFERENCES tuning (id),
    unit_id     INTEGER NOT NULL REFERENCES unit (id),
    rig_base_id INTEGER NOT NULL REFERENCES rig_base (id),
    driver_id   INTEGER NOT NULL REFERENCES driver (id),
    -- When it was read.
    at_us       INTEGER NOT NULL,
    -- Level of the room with the part silent, decimal text in the kind's unit; NULL: not taken off.
    background  TEXT CHECK (background GLOB '[0-9]*' AND NOT background GLOB '*[^0-9.]*'),
    -- Air before the cooler, degrees Celsius, decimal text.
    ambient_c   TEXT CHECK (ambient_c GLOB '*[0-9]*' AND NOT ambient_c GLOB '*[^-0-9.]*'),
    -- Temperature of the part, degrees Celsius, decimal text: levels are compared at equal ones.
    part_c      TEXT CHECK (part_c GLOB '*[0-9]*' AND NOT part_c GLOB '*[^-0-9.]*'),
    -- Fan speed that was set, 1/min; NULL: the maker's fan curve.
    fan_rpm     INTEGER CHECK (fan_rpm BETWEEN 0 AND 50000),
    note        TEXT NOT NULL DEFAULT '' CHECK (length(note) <= 2000),
    person_id   INTEGER NOT NULL REFERENCES person (id),
    made_us     INTEGER NOT NULL,
    version     INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE INDEX reading_tuning ON reading (tuning_id);
CREATE INDEX reading_kind_of ON reading (kind_id);

-- What the instrument showed, as it was written down: the last digit is its step. Never changed; a slip is set aside.
CREATE TABLE repeat (
    id         INTEGER PRIMARY KEY,
    reading_id INTEGER NOT NULL REFERENCES reading (id),
    n          INTEGER NOT NULL CHECK (n > 0),
    value      TEXT NOT NULL CHECK (value GLOB '*[0-9]*' AND NOT value GLOB '*[^-0-9.]*'),
    UNIQUE (reading_id, n)
) STRICT;
CREATE TRIGGER repeat_no_update BEFORE UPDATE ON repeat
BEGIN SELECT RAISE(ABORT, 'what an instrument showed is append-only'); END;
CREATE TRIGGER repeat_no_delete BEFORE DELETE ON repeat
BEGIN SELECT RAISE(ABORT, 'what an instrument showed is append-only'); END;

-- Keep or set aside, as with passes: a person's, with a reason. The newest of a repeat stands.
CREATE TABLE repeat_ruling (
    id        INTEGER PRIMARY KEY,
    repeat_id INTEGER NOT NULL REFERENCES repeat (id),
    verdict   TEXT NOT NULL CHECK (verdict IN ('keep', 'set aside', 'run again', 'open')),
    reason    TEXT NOT NULL DEFAULT '',
    person_id INTEGER NOT NULL REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    CHECK (verdict IN ('open', 'keep') OR length(trim(reason)) > 0)
) STRICT;
CREATE INDEX repeat_ruling_repeat ON repeat_ruling (repeat_id, id);
CREATE TRIGGER repeat_ruling_no_update BEFORE UPDATE ON repeat_ruling
BEGIN SELECT RAISE(ABORT, 'rulings are append-only'); END;
CREATE TRIGGER repeat_ruling_no_delete BEFORE DELETE ON repeat_ruling
BEGIN SELECT RAISE(ABORT, 'rulings are append-only'); END;

-- A photo or a log that shows a reading, byte for byte.
CREATE TABLE proof (
    id         INTEGER PRIMARY KEY,
    reading_id INTEGER NOT NULL REFERENCES reading (id),
    name       TEXT NOT NULL,
    -- By its content, not its name.
    kind       TEXT NOT NULL CHECK (kind IN ('JPEG', 'PNG', 'WebP', 'PDF', 'text')),
    bytes      INTEGER NOT NULL CHECK (bytes > 0),
    digest     BLOB NOT NULL CHECK (length(digest) = 32),
    person_id  INTEGER NOT NULL REFERENCES person (id),
    at_us      INTEGER NOT NULL,
    UNIQUE (reading_id, digest)
) STRICT;

-- Its bytes, in pieces of at most 1 MiB.
CREATE TABLE proof_chunk (
    proof_id INTEGER NOT NULL REFERENCES proof (id) ON DELETE CASCADE,
    n        INTEGER NOT NULL,
    body     BLOB NOT NULL,
    PRIMARY KEY (proof_id, n)
) STRICT, WITHOUT ROWID;

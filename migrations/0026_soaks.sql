-- A soak: a sensor log without frames, of a part that runs warm. It belongs to no pass; what it shows is computed from it.

CREATE TABLE soak (
    id          INTEGER PRIMARY KEY,
    key         TEXT NOT NULL UNIQUE,
    segment_id  INTEGER NOT NULL UNIQUE REFERENCES segment (id),
    tuning_id   INTEGER NOT NULL REFERENCES tuning (id),
    unit_id     INTEGER NOT NULL REFERENCES unit (id),
    rig_base_id INTEGER NOT NULL REFERENCES rig_base (id),
    driver_id   INTEGER NOT NULL REFERENCES driver (id),
    -- Air before the cooler, degrees Celsius, decimal text.
    ambient_c   TEXT CHECK (ambient_c GLOB '*[0-9]*' AND NOT ambient_c GLOB '*[^-0-9.]*'),
    -- What it ran meanwhile.
    note        TEXT NOT NULL DEFAULT '' CHECK (length(note) <= 2000),
    person_id   INTEGER NOT NULL REFERENCES person (id),
    made_us     INTEGER NOT NULL,
    version     INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE INDEX soak_tuning ON soak (tuning_id);

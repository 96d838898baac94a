-- The team's registers: entered once, used by every piece.

CREATE TABLE rig (
    id      INTEGER PRIMARY KEY,
    name    TEXT NOT NULL UNIQUE CHECK (length(trim(name)) BETWEEN 1 AND 80),
    note    TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1
) STRICT;

-- The base of a rig from a moment on. Like is compared with like: same base.
CREATE TABLE rig_base (
    id        INTEGER PRIMARY KEY,
    rig_id    INTEGER NOT NULL REFERENCES rig (id),
    from_us   INTEGER NOT NULL,
    board     TEXT NOT NULL DEFAULT '',
    processor TEXT NOT NULL DEFAULT '',
    memory    TEXT NOT NULL DEFAULT '',
    os_build  TEXT NOT NULL DEFAULT '',
    firmware  TEXT NOT NULL DEFAULT '',
    cooling   TEXT NOT NULL DEFAULT '',
    enclosure TEXT NOT NULL DEFAULT '' CHECK (enclosure IN ('', 'open bench', 'case')),
    -- IANA name: a logger's local times are read with it.
    time_zone TEXT NOT NULL DEFAULT 'UTC',
    version   INTEGER NOT NULL DEFAULT 1,
    UNIQUE (rig_id, from_us)
) STRICT;

-- A key that may only upload, for one rig. Only its hash is kept; it is shown once.
CREATE TABLE rig_key (
    id           INTEGER PRIMARY KEY,
    rig_id       INTEGER NOT NULL REFERENCES rig (id),
    label        TEXT NOT NULL CHECK (length(trim(label)) BETWEEN 1 AND 80),
    token_hash   BLOB NOT NULL UNIQUE CHECK (length(token_hash) = 32),
    made_by      INTEGER NOT NULL REFERENCES person (id),
    made_us      INTEGER NOT NULL,
    last_used_us INTEGER,
    revoked_us   INTEGER
) STRICT;

CREATE TABLE part (
    id            INTEGER PRIMARY KEY,
    maker         TEXT NOT NULL CHECK (length(trim(maker)) BETWEEN 1 AND 80),
    model         TEXT NOT NULL CHECK (length(trim(model)) BETWEEN 1 AND 80),
    kind          TEXT NOT NULL CHECK (kind IN ('card', 'processor', 'device')),
    -- The maker's rated power limit; a tuning past it shows the cautions. NULL: not known.
    rated_power_w INTEGER CHECK (rated_power_w > 0),
    memory_mib    INTEGER CHECK (memory_mib > 0),
    note          TEXT NOT NULL DEFAULT '',
    version       INTEGER NOT NULL DEFAULT 1,
    UNIQUE (maker, model)
) STRICT;

-- The sample in hand. Passes belong to a unit.
CREATE TABLE unit (
    id       INTEGER PRIMARY KEY,
    part_id  INTEGER NOT NULL REFERENCES part (id),
    label    TEXT NOT NULL CHECK (length(trim(label)) BETWEEN 1 AND 80),
    serial   TEXT NOT NULL DEFAULT '',
    origin   TEXT NOT NULL DEFAULT 'bought' CHECK (origin IN ('bought', 'lent')),
    firmware TEXT NOT NULL DEFAULT '',
    version  INTEGER NOT NULL DEFAULT 1,
    UNIQUE (part_id, label)
) STRICT;

-- Part software: the dated driver of a part. A piece declares one for each part.
CREATE TABLE driver (
    id       INTEGER PRIMARY KEY,
    part_id  INTEGER NOT NULL REFERENCES part (id),
    name     TEXT NOT NULL CHECK (length(trim(name)) BETWEEN 1 AND 80),
    dated_us INTEGER NOT NULL,
    version  INTEGER NOT NULL DEFAULT 1,
    UNIQUE (part_id, name)
) STRICT;

-- Money is decimal text with a currency; no conversion without a rate that a person entered.
CREATE TABLE price (
    id       INTEGER PRIMARY KEY,
    part_id  INTEGER NOT NULL REFERENCES part (id),
    amount   TEXT NOT NULL CHECK (amount GLOB '[0-9]*' AND NOT amount GLOB '*[^0-9.]*'),
    currency TEXT NOT NULL CHECK (currency GLOB '[A-Z][A-Z][A-Z]'),
    kind     TEXT NOT NULL CHECK (kind IN ('list', 'street')),
    country  TEXT NOT NULL DEFAULT '',
    source   TEXT NOT NULL DEFAULT '',
    dated_us INTEGER NOT NULL,
    version  INTEGER NOT NULL DEFAULT 1
) STRICT;

-- A game and the repeatable passage measured in it.
CREATE TABLE scene (
    id              INTEGER PRIMARY KEY,
    game            TEXT NOT NULL CHECK (length(trim(game)) BETWEEN 1 AND 80),
    passage         TEXT NOT NULL CHECK (length(trim(passage)) BETWEEN 1 AND 80),
    kind            TEXT NOT NULL CHECK (kind IN ('built-in', 'replay', 'by hand')),
    start_cue       TEXT NOT NULL DEFAULT '',
    -- The standard window from a pass's first frame; NULL end: to the pass's end.
    window_start_ns INTEGER NOT NULL DEFAULT 0 CHECK (window_start_ns >= 0),
    window_end_ns   INTEGER CHECK (window_end_ns > window_start_ns),
    -- How far a pass's window may differ in length before it is told, tenths of a per cent; NULL: 2%, by hand 10%.
    tolerance_permille INTEGER CHECK (tolerance_permille BETWEEN 1 AND 1000),
    note            TEXT NOT NULL DEFAULT '',
    version         INTEGER NOT NULL DEFAULT 1,
    UNIQUE (game, passage)
) STRICT;

-- The game's dated build.
CREATE TABLE build (
    id       INTEGER PRIMARY KEY,
    scene_id INTEGER NOT NULL REFERENCES scene (id),
    name     TEXT NOT NULL CHECK (length(trim(name)) BETWEEN 1 AND 80),
    dated_us INTEGER NOT NULL,
    version  INTEGER NOT NULL DEFAULT 1,
    UNIQUE (scene_id, name)
) STRICT;

CREATE TABLE setting (
    id          INTEGER PRIMARY KEY,
    name        TEXT NOT NULL UNIQUE CHECK (length(trim(name)) BETWEEN 1 AND 80),
    width_px    INTEGER NOT NULL CHECK (width_px > 0),
    height_px   INTEGER NOT NULL CHECK (height_px > 0),
    preset      TEXT NOT NULL DEFAULT '',
    ray_tracing TEXT NOT NULL DEFAULT '',
    upscaling   TEXT NOT NULL DEFAULT '',
    -- Shown frames for each rendered one.
    generated   INTEGER NOT NULL DEFAULT 1 CHECK (generated BETWEEN 1 AND 4),
    version     INTEGER NOT NULL DEFAULT 1
) STRICT;

-- How a part is run. Every part has 'stock'.
CREATE TABLE tuning (
    id                INTEGER PRIMARY KEY,
    part_id           INTEGER NOT NULL REFERENCES part (id),
    name              TEXT NOT NULL CHECK (length(trim(name)) BETWEEN 1 AND 80),
    power_limit_w     INTEGER CHECK (power_limit_w > 0),
    core_offset_mhz   INTEGER NOT NULL DEFAULT 0,
    memory_offset_mhz INTEGER NOT NULL DEFAULT 0,
    voltage_offset_mv INTEGER NOT NULL DEFAULT 0,
    -- Who read the cautions of a tuning past the maker's rated limits.
    cautions_read_by  INTEGER REFERENCES person (id),
    version           INTEGER NOT NULL DEFAULT 1,
    UNIQUE (part_id, name)
) STRICT;

-- part x tuning x scene x setting: belongs to the team, a piece only selects it. (The part is the tuning's.)
CREATE TABLE cell (
    id          INTEGER PRIMARY KEY,
    tuning_id   INTEGER NOT NULL REFERENCES tuning (id),
    scene_id    INTEGER NOT NULL REFERENCES scene (id),
    setting_id  INTEGER NOT NULL REFERENCES setting (id),
    -- Why it did not run, in words; empty: it runs.
    did_not_run TEXT NOT NULL DEFAULT '',
    version     INTEGER NOT NULL DEFAULT 1,
    UNIQUE (tuning_id, scene_id, setting_id)
) STRICT;
CREATE INDEX cell_scene ON cell (scene_id);
CREATE INDEX cell_setting ON cell (setting_id);

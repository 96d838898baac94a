-- SHA-256 of the game's settings file at the time of a log, in lower-case hexadecimal digits, where the rig sent it: passes
-- of a cell are run at one. The file itself stays on the rig.
ALTER TABLE capture ADD COLUMN settings_sha256 TEXT
    CHECK (length(settings_sha256) = 64 AND NOT settings_sha256 GLOB '*[^0-9a-f]*');

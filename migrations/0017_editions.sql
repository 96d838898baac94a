-- Editions: what was printed, frozen for ever, and links that hand one to an editor without an account.

-- A piece's agreed figures as they were when it went to print. Never changed: a correction is another edition, which
-- says what differs.
CREATE TABLE edition (
    id        INTEGER PRIMARY KEY,
    piece_id  INTEGER NOT NULL REFERENCES piece (id),
    -- From 1 in its piece.
    number    INTEGER NOT NULL CHECK (number > 0),
    -- work::editions::Frozen as JSON, and its SHA-256.
    body      TEXT NOT NULL,
    digest    BLOB NOT NULL CHECK (length(digest) = 32),
    note      TEXT NOT NULL DEFAULT '' CHECK (length(note) <= 400),
    person_id INTEGER NOT NULL REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    UNIQUE (piece_id, number)
) STRICT;
CREATE TRIGGER edition_no_update BEFORE UPDATE ON edition
BEGIN SELECT RAISE(ABORT, 'editions are append-only'); END;
CREATE TRIGGER edition_no_delete BEFORE DELETE ON edition
BEGIN SELECT RAISE(ABORT, 'editions are append-only'); END;

-- A secret address that shows one edition and nothing else, without a sign-in. Only its hash is kept; it is shown once.
CREATE TABLE edition_link (
    id         INTEGER PRIMARY KEY,
    edition_id INTEGER NOT NULL REFERENCES edition (id),
    token_hash BLOB NOT NULL UNIQUE CHECK (length(token_hash) = 32),
    made_by    INTEGER NOT NULL REFERENCES person (id),
    made_us    INTEGER NOT NULL,
    expires_us INTEGER NOT NULL CHECK (expires_us > made_us),
    -- When it was opened last; each opening is in the log of who looked.
    opened_us  INTEGER,
    revoked_us INTEGER
) STRICT;
CREATE INDEX edition_link_edition ON edition_link (edition_id);

-- Who may do what, and the trail of what they did.
--
-- Conventions of the whole store: INTEGER ids inside, random text keys where an address, a pack or a digest
-- names a row; times are microseconds UTC (`_us`), times inside a recording nanoseconds (`_ns`); rows that
-- people edit carry a `version`, so that a stale form is told instead of winning silently; tables are STRICT.

CREATE TABLE person (
    id            INTEGER PRIMARY KEY,
    name          TEXT NOT NULL CHECK (length(trim(name)) BETWEEN 1 AND 80),
    role          TEXT NOT NULL CHECK (role IN ('owner', 'member', 'guest')),
    -- A PHC string (argon2id). Never written to the audit trail.
    password_hash TEXT NOT NULL,
    disabled      INTEGER NOT NULL DEFAULT 0 CHECK (disabled IN (0, 1)),
    created_us    INTEGER NOT NULL,
    version       INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE UNIQUE INDEX person_name ON person (lower(name));

-- A signed-in browser. Only the hash of its token is kept, so a stolen store signs nobody in.
CREATE TABLE web_session (
    token_hash  BLOB PRIMARY KEY CHECK (length(token_hash) = 32),
    person_id   INTEGER NOT NULL REFERENCES person (id),
    created_us  INTEGER NOT NULL,
    seen_us     INTEGER NOT NULL,
    -- When the password was last typed: an agreement asks for it again after five minutes.
    password_us INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX web_session_person ON web_session (person_id);

-- A one-time link that makes an account. The first one, for the owner, is printed by the server's first start.
CREATE TABLE invitation (
    id         INTEGER PRIMARY KEY,
    token_hash BLOB NOT NULL UNIQUE CHECK (length(token_hash) = 32),
    role       TEXT NOT NULL CHECK (role IN ('owner', 'member', 'guest')),
    made_by    INTEGER REFERENCES person (id),
    made_us    INTEGER NOT NULL,
    expires_us INTEGER NOT NULL,
    used_by    INTEGER REFERENCES person (id),
    revoked_us INTEGER
) STRICT;

-- Failed sign-ins, so that guessing is slowed down across restarts.
CREATE TABLE failed_sign_in (
    id      INTEGER PRIMARY KEY,
    name    TEXT NOT NULL,
    address TEXT NOT NULL,
    at_us   INTEGER NOT NULL
) STRICT;
CREATE INDEX failed_sign_in_at ON failed_sign_in (at_us);

-- The chained trail: each entry carries the row as it became (never secrets) and the digest of the one before.
CREATE TABLE audit_entry (
    seq        INTEGER PRIMARY KEY,
    at_us      INTEGER NOT NULL,
    person_id  INTEGER REFERENCES person (id),
    rig_key_id INTEGER,
    -- What was done, in the interface's words: 'rule', 'agree', 'upload' ...
    act        TEXT NOT NULL,
    of_table   TEXT NOT NULL,
    row_id     INTEGER NOT NULL,
    -- JSON object of the row's columns; NULL when the row was removed.
    row        TEXT,
    previous   BLOB NOT NULL CHECK (length(previous) = 32),
    digest     BLOB NOT NULL UNIQUE CHECK (length(digest) = 32)
) STRICT;
CREATE INDEX audit_entry_row ON audit_entry (of_table, row_id);
CREATE TRIGGER audit_entry_no_update BEFORE UPDATE ON audit_entry
BEGIN SELECT RAISE(ABORT, 'the audit trail is append-only'); END;
CREATE TRIGGER audit_entry_no_delete BEFORE DELETE ON audit_entry
BEGIN SELECT RAISE(ABORT, 'the audit trail is append-only'); END;

-- Who looked at or downloaded what: outside the chain, may be pruned.
CREATE TABLE access_log (
    id        INTEGER PRIMARY KEY,
    at_us     INTEGER NOT NULL,
    person_id INTEGER REFERENCES person (id),
    what      TEXT NOT NULL
) STRICT;

-- First answers to requests that carry an idempotency key: the retry of a request whose answer was lost gets them.
CREATE TABLE first_answer (
    key    TEXT NOT NULL,
    -- 'person 3' or 'rig key 2'
    who    TEXT NOT NULL,
    route  TEXT NOT NULL,
    -- Digest of what was sent; the same key with something else is refused.
    asked  BLOB NOT NULL,
    status INTEGER NOT NULL,
    body   TEXT NOT NULL,
    at_us  INTEGER NOT NULL,
    PRIMARY KEY (key, who)
) STRICT, WITHOUT ROWID;

-- Review by several people: the team's own reasons, rulings that stand beside each other, and passes that were
-- recorded in another's place. Tables of their own: entries of the trail carry a ruling's and a pass's columns as
-- they always were.

-- The team's short list of reasons, offered with each ruling. Without a row the program's own list is offered.
CREATE TABLE reason_list (
    id      INTEGER PRIMARY KEY CHECK (id = 1),
    -- One a line.
    reasons TEXT NOT NULL CHECK (length(trim(reasons)) > 0),
    version INTEGER NOT NULL DEFAULT 1
) STRICT;

-- A ruling that contradicts another person's: it stands beside it instead of replacing it, until a later ruling
-- settles both. The newest ruling of a pass that is in no row here is the one that counts.
CREATE TABLE dispute (
    id         INTEGER PRIMARY KEY,
    ruling_id  INTEGER NOT NULL UNIQUE REFERENCES ruling (id),
    against_id INTEGER NOT NULL REFERENCES ruling (id),
    CHECK (ruling_id > against_id)
) STRICT;
CREATE INDEX dispute_against ON dispute (against_id);
CREATE TRIGGER dispute_no_update BEFORE UPDATE ON dispute
BEGIN SELECT RAISE(ABORT, 'rulings are append-only'); END;
CREATE TRIGGER dispute_no_delete BEFORE DELETE ON dispute
BEGIN SELECT RAISE(ABORT, 'rulings are append-only'); END;

-- A pass that was recorded in place of one that was to be run again; a person says so. Both stay.
CREATE TABLE replacement (
    id          INTEGER PRIMARY KEY,
    pass_id     INTEGER NOT NULL UNIQUE REFERENCES pass (id),
    replaces_id INTEGER NOT NULL UNIQUE REFERENCES pass (id),
    person_id   INTEGER NOT NULL REFERENCES person (id),
    at_us       INTEGER NOT NULL,
    CHECK (pass_id <> replaces_id)
) STRICT;

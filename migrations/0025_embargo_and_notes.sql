-- What a piece says of itself beside its numbers, and until when nothing of it may leave the house.

-- In a table of its own: the trail carries a piece's columns as they always were.
CREATE TABLE piece_notes (
    id           INTEGER PRIMARY KEY,
    piece_id     INTEGER NOT NULL UNIQUE REFERENCES piece (id),
    -- Until then packs and links to editions leave only with an owner's word; NULL: no embargo.
    embargo_us   INTEGER,
    -- IANA name in which it was said.
    embargo_zone TEXT NOT NULL DEFAULT 'UTC',
    -- For the methods page, in the team's words.
    settings     TEXT NOT NULL DEFAULT '' CHECK (length(settings) <= 2000),
    caches       TEXT NOT NULL DEFAULT '' CHECK (length(caches) <= 2000),
    order_of_run TEXT NOT NULL DEFAULT '' CHECK (length(order_of_run) <= 2000),
    disclosure   TEXT NOT NULL DEFAULT '' CHECK (length(disclosure) <= 2000),
    version      INTEGER NOT NULL DEFAULT 1
) STRICT;

-- An owner's word that it may leave before the embargo ends, or that it is held again. The newest of an embargo stands; an
-- embargo with another end needs a new word.
CREATE TABLE embargo_word (
    id         INTEGER PRIMARY KEY,
    piece_id   INTEGER NOT NULL REFERENCES piece (id),
    embargo_us INTEGER NOT NULL,
    says       TEXT NOT NULL CHECK (says IN ('let it go', 'hold it')),
    reason     TEXT NOT NULL CHECK (length(trim(reason)) BETWEEN 1 AND 400),
    person_id  INTEGER NOT NULL REFERENCES person (id),
    at_us      INTEGER NOT NULL
) STRICT;
CREATE INDEX embargo_word_piece ON embargo_word (piece_id, id);
CREATE TRIGGER embargo_word_no_update BEFORE UPDATE ON embargo_word
BEGIN SELECT RAISE(ABORT, 'words on an embargo are append-only'); END;
CREATE TRIGGER embargo_word_no_delete BEFORE DELETE ON embargo_word
BEGIN SELECT RAISE(ABORT, 'words on an embargo are append-only'); END;

-- The draft of a piece: its text, kept as versions, and what people decided on the numbers in it.

-- A version of the text; append-only. The trail carries its digest, not the text.
CREATE TABLE draft_text (
    id        INTEGER PRIMARY KEY,
    piece_id  INTEGER NOT NULL REFERENCES piece (id),
    -- Counts up within the piece.
    number    INTEGER NOT NULL CHECK (number >= 1),
    form      TEXT NOT NULL CHECK (form IN ('plain', 'markdown', 'srt', 'vtt')),
    body      TEXT NOT NULL CHECK (length(body) <= 1000000),
    -- SHA-256 of the text as UTF-8.
    digest    BLOB NOT NULL CHECK (length(digest) = 32),
    person_id INTEGER NOT NULL REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    UNIQUE (piece_id, number)
) STRICT;
CREATE TRIGGER draft_text_no_update BEFORE UPDATE ON draft_text
BEGIN SELECT RAISE(ABORT, 'versions of a text are append-only'); END;
CREATE TRIGGER draft_text_no_delete BEFORE DELETE ON draft_text
BEGIN SELECT RAISE(ABORT, 'versions of a text are append-only'); END;

-- What a number of the text quotes, or that it is left alone. It knows the number by itself and the words around it, so
-- that it is found again when the text is edited.
CREATE TABLE draft_number (
    id        INTEGER PRIMARY KEY,
    piece_id  INTEGER NOT NULL REFERENCES piece (id),
    number    TEXT NOT NULL CHECK (length(number) BETWEEN 1 AND 200),
    before    TEXT NOT NULL CHECK (length(before) <= 1000),
    behind    TEXT NOT NULL CHECK (length(behind) <= 1000),
    -- Keys of figures: one, 'a/b' their ratio, 'a-b' their difference; empty: left alone.
    link      TEXT NOT NULL CHECK (length(link) <= 200),
    person_id INTEGER NOT NULL REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    version   INTEGER NOT NULL DEFAULT 1,
    UNIQUE (piece_id, number, before, behind)
) STRICT;

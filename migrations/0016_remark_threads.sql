-- Remarks become threads: people answer them, settle them and open them again. A remark itself is never changed.

CREATE TABLE remark_step (
    id        INTEGER PRIMARY KEY,
    remark_id INTEGER NOT NULL REFERENCES remark (id),
    does      TEXT NOT NULL CHECK (does IN ('answer', 'settle', 'open')),
    -- What was written; an answer says something, the others may.
    says      TEXT NOT NULL DEFAULT '' CHECK (length(says) <= 4000),
    person_id INTEGER NOT NULL REFERENCES person (id),
    at_us     INTEGER NOT NULL,
    CHECK (does <> 'answer' OR length(trim(says)) > 0)
) STRICT;
CREATE INDEX remark_step_remark ON remark_step (remark_id);
CREATE TRIGGER remark_step_no_update BEFORE UPDATE ON remark_step
BEGIN SELECT RAISE(ABORT, 'what people wrote is append-only'); END;
CREATE TRIGGER remark_step_no_delete BEFORE DELETE ON remark_step
BEGIN SELECT RAISE(ABORT, 'what people wrote is append-only'); END;

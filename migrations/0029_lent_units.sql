-- Who lent a unit, on which terms, and until when nothing of it may be published. NULL, not empty: rows of the trail from
-- before these columns stay what they were.
ALTER TABLE unit ADD COLUMN lender TEXT CHECK (length(trim(lender)) BETWEEN 1 AND 80);
ALTER TABLE unit ADD COLUMN terms TEXT CHECK (length(trim(terms)) BETWEEN 1 AND 400);
-- Packs and links to editions of a piece that holds passes or readings of the unit leave after this moment only, or with an
-- owner's word. Microseconds UTC.
ALTER TABLE unit ADD COLUMN embargo_us INTEGER;

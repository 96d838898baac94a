-- How many people beside the proposer agree to each figure of a piece; NULL: one.
ALTER TABLE piece ADD COLUMN agreements INTEGER CHECK (agreements BETWEEN 2 AND 5);

-- By what the record that an offer was last read from is known again. Null where the offer is
-- absent or held, and where its record must be read by every poll.
ALTER TABLE offer ADD COLUMN mark BLOB;

-- Of polls that are recorded as unchanged: what came was older than what was known, and confirmed
-- nothing.
ALTER TABLE poll ADD COLUMN is_older_copy INTEGER NOT NULL DEFAULT 0 CHECK (is_older_copy IN (0, 1));

-- Why the newest poll that could be read refused records: reasons with counts and examples, as JSON of
-- whoever polls. One row a feed, so that a year of polls costs nothing.
ALTER TABLE feed ADD COLUMN refusals TEXT;

-- What the record states of the thing one by one: a JSON list of name, value and unit; null for none.
ALTER TABLE offer ADD COLUMN properties TEXT;

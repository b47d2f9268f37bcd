-- What deciding remembers of a brief between two looks at the market.
CREATE TABLE deciding (
    brief   TEXT PRIMARY KEY,
    at_ms   INTEGER NOT NULL,
    memory  TEXT NOT NULL              -- JSON
) STRICT, WITHOUT ROWID;

-- The instant of the digest that a delivery waits for, and the digest that took it up. What was
-- taken up counts as sent: the digest is what is delivered.
ALTER TABLE outbox ADD COLUMN digest_ms INTEGER;
ALTER TABLE outbox ADD COLUMN joined_into TEXT REFERENCES bulletin (id);

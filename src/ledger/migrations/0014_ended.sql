-- Terms that a poll ended, packed side by side in the order of time: in `observation` each offer's past
-- is on pages of its own. May lack some, but what it says is so: see ledger/ended.rs.
CREATE TABLE ended (
    id     INTEGER PRIMARY KEY,
    at_ms  INTEGER NOT NULL,           -- of the poll; until then they were believed
    terms  BLOB NOT NULL
) STRICT;

CREATE INDEX ended_at ON ended (at_ms);

-- The terms that stand now also say since when they are known.
DROP INDEX observation_now;
CREATE INDEX observation_now ON observation (
    offer_id, until_ms, known_ms, price_minor, currency, availability, list_minor, list_currency,
    shipping_minor, shipping_currency, tax_included, minimum_quantity, lead_days, available_from_ms
) WHERE until_ms IS NULL;

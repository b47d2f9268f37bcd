-- A change is written on fewer pages. The terms that stand lie side by side, and those that have ended by
-- offer: a change takes one page of each, where it took one more for the index of what stands.
CREATE TABLE standing (
    offer_id           INTEGER PRIMARY KEY REFERENCES offer (id),
    from_ms            INTEGER NOT NULL,
    known_ms           INTEGER,        -- when they were believed, where later than seen
    price_minor        INTEGER NOT NULL,
    currency           TEXT NOT NULL,
    availability       TEXT NOT NULL,
    list_minor         INTEGER,
    list_currency      TEXT,
    shipping_minor     INTEGER,
    shipping_currency  TEXT,
    tax_included       INTEGER NOT NULL CHECK (tax_included IN (0, 1)),
    minimum_quantity   INTEGER NOT NULL,
    lead_days          INTEGER CHECK (lead_days >= 0),
    available_from_ms  INTEGER,
    CHECK (known_ms IS NULL OR known_ms >= from_ms)
) STRICT;

INSERT INTO standing
    SELECT offer_id, from_ms, known_ms, price_minor, currency, availability, list_minor, list_currency,
           shipping_minor, shipping_currency, tax_included, minimum_quantity, lead_days, available_from_ms
    FROM observation WHERE until_ms IS NULL;
DELETE FROM observation WHERE until_ms IS NULL;
DROP INDEX observation_now;

-- All terms that an offer ever had; those that stand have no end. Only where both selections have the same
-- types does SQLite look for an offer in each of them, and not in a copy of all.
CREATE VIEW interval AS
    SELECT offer_id, from_ms, until_ms, known_ms, gone_ms, price_minor, currency, availability, list_minor,
           list_currency, shipping_minor, shipping_currency, tax_included, minimum_quantity, lead_days,
           available_from_ms
    FROM observation
    UNION ALL
    SELECT offer_id, from_ms, CAST(NULL AS INTEGER), known_ms, CAST(NULL AS INTEGER), price_minor, currency,
           availability, list_minor, list_currency, shipping_minor, shipping_currency, tax_included,
           minimum_quantity, lead_days, available_from_ms
    FROM standing;

-- By what the records of each feed's offers are known again, packed poll by poll; of an offer the newest
-- counts: see ledger/marks.rs. They are no more than a shortcut, and those of another program are of no
-- use, so none is taken over.
DROP TABLE mark;
CREATE TABLE marks (
    id       INTEGER PRIMARY KEY,
    feed_id  INTEGER NOT NULL REFERENCES feed (id),
    packed   BLOB NOT NULL
) STRICT;

CREATE INDEX marks_feed ON marks (feed_id);

-- How many offers of the feed are not given up, as the last poll left it; null where they are to be counted.
ALTER TABLE feed ADD COLUMN offers_standing INTEGER CHECK (offers_standing >= 0);

CREATE TRIGGER offer_stands AFTER UPDATE OF gone_since_ms ON offer
    WHEN (OLD.gone_since_ms IS NULL) <> (NEW.gone_since_ms IS NULL)
BEGIN
    UPDATE feed SET offers_standing = NULL WHERE id = NEW.feed_id;
END;

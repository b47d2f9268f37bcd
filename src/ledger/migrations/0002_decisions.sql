-- What the author decided of one SKU of one retailer.
CREATE TABLE offer_decision (
    retailer    TEXT NOT NULL,
    sku         TEXT NOT NULL,
    verdict     TEXT NOT NULL CHECK (verdict IN ('pinned', 'denied', 'lacking')),
    parts       TEXT NOT NULL,         -- a JSON list of the parts that it pins or denies
    made_on     TEXT NOT NULL,         -- the listing as it was then
    at_ms       INTEGER NOT NULL,
    changed_ms  INTEGER,               -- when a poll first brought another listing
    PRIMARY KEY (retailer, sku)
) STRICT, WITHOUT ROWID;

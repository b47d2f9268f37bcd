-- What an offer was called and where its link led, until the poll at `until_ms` brought another.
-- Of offers that were ever taken for a part.
CREATE TABLE listing (
    offer_id  INTEGER NOT NULL REFERENCES offer (id),
    until_ms  INTEGER NOT NULL,
    title     TEXT NOT NULL,
    link      TEXT,
    PRIMARY KEY (offer_id, until_ms)
) STRICT, WITHOUT ROWID;

-- Polls that did not see an offer with its believed terms, though they went well: all those after
-- `seen_ms` up to `until_ms`.
CREATE TABLE gap (
    offer_id  INTEGER NOT NULL REFERENCES offer (id),
    seen_ms   INTEGER NOT NULL,
    until_ms  INTEGER NOT NULL,
    PRIMARY KEY (offer_id, seen_ms),
    CHECK (until_ms > seen_ms)
) STRICT, WITHOUT ROWID;

CREATE INDEX offer_absent ON offer (feed_id) WHERE present = 0 AND gone_since_ms IS NULL;

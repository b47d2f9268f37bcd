-- Instants are milliseconds since 1970-01-01T00:00:00Z. Amounts are minor units of `currency`;
-- `list_currency` and `shipping_currency` are null where they are the same.

CREATE TABLE feed (
    id             INTEGER PRIMARY KEY,
    name           TEXT NOT NULL UNIQUE,
    retailer       TEXT NOT NULL,
    last_poll_ms   INTEGER,            -- newest poll, whatever came of it
    fresh_ms       INTEGER,            -- newest poll that brought a snapshot
    seen_until_ms  INTEGER,            -- when its present offers were last seen
    failures       INTEGER NOT NULL DEFAULT 0 CHECK (failures >= 0),
    memory         TEXT,               -- for asking the retailer for news only
    health         TEXT                -- how the feed has fared
) STRICT;

CREATE TABLE poll (
    id           INTEGER PRIMARY KEY,
    feed_id      INTEGER NOT NULL REFERENCES feed (id),
    at_ms        INTEGER NOT NULL,
    status       TEXT NOT NULL CHECK (status IN ('fresh', 'unchanged', 'failed', 'suspicious')),
    is_complete  INTEGER CHECK (is_complete IN (0, 1)),   -- of fresh polls
    records      INTEGER NOT NULL,
    offers       INTEGER NOT NULL,
    matched      INTEGER NOT NULL,
    refused      INTEGER NOT NULL,
    held         INTEGER NOT NULL,
    changed      INTEGER NOT NULL,
    duration_ms  INTEGER NOT NULL,
    error        TEXT,
    notes        TEXT NOT NULL,                           -- a JSON list of texts
    UNIQUE (feed_id, at_ms),
    CHECK ((status = 'fresh') = (is_complete IS NOT NULL))
) STRICT;

-- What a retailer lists, as last described. The seller is empty where it is the retailer.
-- A present offer is one that the newest snapshot listed with its current terms: it was last
-- seen when its feed was. Of any other, `last_seen_ms` says it.
CREATE TABLE offer (
    id                  INTEGER PRIMARY KEY,
    feed_id             INTEGER NOT NULL REFERENCES feed (id),
    sku                 TEXT NOT NULL,
    seller              TEXT NOT NULL,
    condition           TEXT NOT NULL,
    title               TEXT NOT NULL,
    brand               TEXT,
    gtins               TEXT NOT NULL,                    -- fourteen digits each, blanks between
    mpn                 TEXT,
    link                TEXT,
    valid_until_ms      INTEGER,
    notes               TEXT NOT NULL,                    -- a JSON list of texts
    part                TEXT,
    matched_by          TEXT,
    confidence_percent  INTEGER CHECK (confidence_percent BETWEEN 0 AND 100),
    first_seen_ms       INTEGER NOT NULL,
    last_seen_ms        INTEGER NOT NULL,
    present             INTEGER NOT NULL CHECK (present IN (0, 1)),
    missing_polls       INTEGER NOT NULL DEFAULT 0 CHECK (missing_polls >= 0),
    gone_since_ms       INTEGER,
    UNIQUE (feed_id, sku, seller, condition),
    CHECK ((part IS NULL) = (matched_by IS NULL)),
    CHECK ((part IS NULL) = (confidence_percent IS NULL)),
    CHECK (present = 0 OR (missing_polls = 0 AND gone_since_ms IS NULL))
) STRICT;

CREATE INDEX offer_part ON offer (part) WHERE part IS NOT NULL;
CREATE INDEX offer_listed ON offer (feed_id) WHERE gone_since_ms IS NULL;
CREATE INDEX offer_missing ON offer (feed_id) WHERE missing_polls > 0 AND gone_since_ms IS NULL;

-- Which part an offer was taken for, from an instant on; null: for none.
CREATE TABLE matching (
    offer_id            INTEGER NOT NULL REFERENCES offer (id),
    since_ms            INTEGER NOT NULL,
    part                TEXT,
    matched_by          TEXT,
    confidence_percent  INTEGER,
    PRIMARY KEY (offer_id, since_ms)
) STRICT, WITHOUT ROWID;

-- Terms that held from the poll that first saw them until the last that saw them unchanged.
-- The newest interval of an offer is open: its end is when the offer was last seen.
CREATE TABLE observation (
    offer_id           INTEGER NOT NULL REFERENCES offer (id),
    from_ms            INTEGER NOT NULL,
    until_ms           INTEGER,
    known_ms           INTEGER,        -- when it was believed, where later than seen
    gone_ms            INTEGER,        -- when the offer was given up, if that ended it
    price_minor        INTEGER NOT NULL,
    currency           TEXT NOT NULL,
    availability       TEXT NOT NULL,
    list_minor         INTEGER,
    list_currency      TEXT,
    shipping_minor     INTEGER,
    shipping_currency  TEXT,
    tax_included       INTEGER NOT NULL CHECK (tax_included IN (0, 1)),
    minimum_quantity   INTEGER NOT NULL,
    PRIMARY KEY (offer_id, from_ms),
    CHECK (until_ms IS NULL OR until_ms >= from_ms),
    CHECK (known_ms IS NULL OR known_ms >= from_ms),
    CHECK (gone_ms IS NULL OR until_ms IS NOT NULL)
) STRICT, WITHOUT ROWID;

CREATE UNIQUE INDEX observation_open ON observation (offer_id) WHERE until_ms IS NULL;

-- Terms that cannot be right, waiting for the next polls or a person to confirm them.
CREATE TABLE held (
    id                 INTEGER PRIMARY KEY,
    offer_id           INTEGER NOT NULL UNIQUE REFERENCES offer (id),
    first_seen_ms      INTEGER NOT NULL,
    last_seen_ms       INTEGER NOT NULL,
    times              INTEGER NOT NULL CHECK (times > 0),
    is_dropped         INTEGER NOT NULL DEFAULT 0 CHECK (is_dropped IN (0, 1)),
    reason             TEXT NOT NULL,
    price_minor        INTEGER NOT NULL,
    currency           TEXT NOT NULL,
    availability       TEXT NOT NULL,
    list_minor         INTEGER,
    list_currency      TEXT,
    shipping_minor     INTEGER,
    shipping_currency  TEXT,
    tax_included       INTEGER NOT NULL CHECK (tax_included IN (0, 1)),
    minimum_quantity   INTEGER NOT NULL
) STRICT;

CREATE TABLE answer (
    id           INTEGER PRIMARY KEY,
    brief        TEXT NOT NULL,
    since_ms     INTEGER NOT NULL,
    until_ms     INTEGER NOT NULL,
    fingerprint  TEXT NOT NULL,
    answer_json  TEXT NOT NULL,
    CHECK (until_ms >= since_ms)
) STRICT;

CREATE INDEX answer_brief ON answer (brief, id);

CREATE TABLE journal (
    id     INTEGER PRIMARY KEY,
    at_ms  INTEGER NOT NULL,
    kind   TEXT NOT NULL,
    feed   TEXT,
    brief  TEXT,
    part   TEXT,
    text   TEXT NOT NULL,
    data   TEXT NOT NULL               -- JSON
) STRICT;

CREATE TABLE bulletin (
    id       TEXT PRIMARY KEY,
    brief    TEXT NOT NULL,
    at_ms    INTEGER NOT NULL,
    subject  TEXT NOT NULL,
    text     TEXT NOT NULL,
    data     TEXT NOT NULL             -- JSON
) STRICT;

CREATE TABLE outbox (
    id           INTEGER PRIMARY KEY,
    bulletin_id  TEXT NOT NULL REFERENCES bulletin (id),
    channel      TEXT NOT NULL,
    state        TEXT NOT NULL CHECK (state IN ('waiting', 'sent', 'dead')),
    attempts     INTEGER NOT NULL DEFAULT 0 CHECK (attempts >= 0),
    touched_ms   INTEGER NOT NULL,     -- when this row was last written
    next_ms      INTEGER NOT NULL,     -- the next attempt, while waiting
    fault        TEXT,                 -- of the last attempt that failed
    UNIQUE (bulletin_id, channel)
) STRICT;

CREATE INDEX outbox_waiting ON outbox (next_ms) WHERE state = 'waiting';

-- Channels whose receiver asked for no more. `address` is a hash of their settings.
CREATE TABLE disabled_channel (
    channel  TEXT PRIMARY KEY,
    address  TEXT NOT NULL,
    at_ms    INTEGER NOT NULL,
    reason   TEXT NOT NULL
) STRICT;

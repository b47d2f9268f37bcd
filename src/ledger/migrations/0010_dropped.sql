-- A delivery that a person gave up is kept as such. SQLite cannot change a check, so the table is
-- made anew.
CREATE TABLE outbox_made_anew (
    id           INTEGER PRIMARY KEY,
    bulletin_id  TEXT NOT NULL REFERENCES bulletin (id),
    channel      TEXT NOT NULL,
    state        TEXT NOT NULL CHECK (state IN ('waiting', 'sent', 'dead', 'dropped')),
    attempts     INTEGER NOT NULL DEFAULT 0 CHECK (attempts >= 0),
    touched_ms   INTEGER NOT NULL,     -- when this row was last written
    next_ms      INTEGER NOT NULL,     -- the next attempt, while waiting
    fault        TEXT,                 -- of the last attempt that failed
    digest_ms    INTEGER,
    joined_into  TEXT REFERENCES bulletin (id),
    UNIQUE (bulletin_id, channel)
) STRICT;

INSERT INTO outbox_made_anew SELECT * FROM outbox;
DROP TABLE outbox;
ALTER TABLE outbox_made_anew RENAME TO outbox;

CREATE INDEX outbox_waiting ON outbox (next_ms) WHERE state = 'waiting';

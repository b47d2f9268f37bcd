-- What was published, as it was published. Never changed afterwards.
CREATE TABLE edition (
    id        INTEGER PRIMARY KEY,
    brief     TEXT NOT NULL,
    number    INTEGER NOT NULL CHECK (number >= 1),
    at_ms     INTEGER NOT NULL,
    sha256    TEXT NOT NULL,           -- of the document's bytes, in hexadecimal
    document  TEXT NOT NULL,           -- JSON
    UNIQUE (brief, number)
) STRICT;

-- The guide of an edition in each form in which it was published.
CREATE TABLE edition_form (
    id          INTEGER PRIMARY KEY,
    edition_id  INTEGER NOT NULL REFERENCES edition (id),
    form        TEXT NOT NULL,
    sha256      TEXT NOT NULL,         -- of the text's bytes
    content     TEXT NOT NULL,
    UNIQUE (edition_id, form)
) STRICT;

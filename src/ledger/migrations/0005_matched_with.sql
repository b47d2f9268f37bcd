-- The catalogue that all stored offers were last matched against, as a digest: one row, or none.
CREATE TABLE matched_with (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    catalogue BLOB NOT NULL
) STRICT;

-- A change is written on fewer pages. Marks lie side by side: each poll reads all of its feed's, and a
-- change writes one. In `offer` each lay among its texts, on a page of its own.
CREATE TABLE mark (
    feed_id   INTEGER NOT NULL,        -- as the offer says
    offer_id  INTEGER NOT NULL REFERENCES offer (id),
    is_part   INTEGER NOT NULL CHECK (is_part IN (0, 1)),     -- the offer is taken for a part
    mark      BLOB NOT NULL,
    PRIMARY KEY (feed_id, offer_id)
) STRICT, WITHOUT ROWID;

INSERT INTO mark (feed_id, offer_id, is_part, mark)
    SELECT feed_id, id, part IS NOT NULL, mark FROM offer WHERE mark IS NOT NULL AND present = 1;
ALTER TABLE offer DROP COLUMN mark;

-- `observation_now` holds the open intervals too and finds them as well. That an offer has one at most,
-- the program sees to, and `rigtide verify`.
DROP INDEX observation_open;

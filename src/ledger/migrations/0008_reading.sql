-- The terms that stand now, side by side: in `observation` each of them lies among its offer's past,
-- on a page of its own. `until_ms` is null throughout, and here so that the index alone answers.
CREATE INDEX observation_now ON observation (
    offer_id, until_ms, price_minor, currency, availability, list_minor, list_currency,
    shipping_minor, shipping_currency, tax_included, minimum_quantity, lead_days, available_from_ms
) WHERE until_ms IS NULL;

-- When each feed was read with success, and whether what was missing then was not on offer.
CREATE INDEX poll_read ON poll (feed_id, at_ms, status, is_complete, is_older_copy)
    WHERE status IN ('fresh', 'unchanged') AND NOT is_older_copy;

-- How many days an order waits for the goods to leave the retailer, and from when there are any;
-- null where the record does not say.
ALTER TABLE observation ADD COLUMN lead_days INTEGER CHECK (lead_days >= 0);
ALTER TABLE observation ADD COLUMN available_from_ms INTEGER;
ALTER TABLE held ADD COLUMN lead_days INTEGER CHECK (lead_days >= 0);
ALTER TABLE held ADD COLUMN available_from_ms INTEGER;

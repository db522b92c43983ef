-- How long before its heat a pack is off the charger at least.
ALTER TABLE charge_plans ADD COLUMN margin_min REAL NOT NULL DEFAULT 10;
UPDATE charge_plans SET margin_min = min(margin_min, most_full_min);

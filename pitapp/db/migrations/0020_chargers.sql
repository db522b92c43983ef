-- Several chargers: which stay at home, and which one a charge is on (empty: not known).
ALTER TABLE chargers ADD COLUMN at_home INTEGER NOT NULL DEFAULT 0 CHECK (at_home IN (0, 1));
ALTER TABLE pack_charges ADD COLUMN charger_id INTEGER REFERENCES chargers (id);
-- Whether somebody watches while the racer drives or marshals (empty: not asked yet), and how long
-- before and after a run the racer is away from the table.
ALTER TABLE charge_plans ADD COLUMN watched INTEGER CHECK (watched IN (0, 1));
ALTER TABLE charge_plans ADD COLUMN walk_min REAL NOT NULL DEFAULT 5;

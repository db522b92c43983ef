-- The laps of a run in driven order: whole thousandths of a second with a space between.
ALTER TABLE runs ADD COLUMN lap_times TEXT;

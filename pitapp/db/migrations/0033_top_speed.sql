-- The car's top speed in a run, measured from beside the straight, with its standard uncertainty where that is known.
ALTER TABLE runs ADD COLUMN top_speed_kmh REAL;
ALTER TABLE runs ADD COLUMN top_speed_spread_kmh REAL;

-- A second reading of the can, some minutes after the first: how it cools.
ALTER TABLE runs ADD COLUMN second_can_c REAL;
ALTER TABLE runs ADD COLUMN second_after_s REAL;

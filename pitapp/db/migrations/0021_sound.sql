-- Free revs that the phone has heard: their spread. Empty where an instrument has measured them.
ALTER TABLE motor_checks ADD COLUMN heard_spread_rpm REAL;

CREATE TABLE sound_comparisons (
    id INTEGER PRIMARY KEY,
    compared_at TEXT NOT NULL,
    heard_rpm REAL NOT NULL,
    instrument_rpm REAL NOT NULL,
    removed_at TEXT
) STRICT;

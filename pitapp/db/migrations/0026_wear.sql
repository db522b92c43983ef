-- Parts that wear with running, in a car or in a motor; what they have run is counted in the log.
-- `last_…` is what a part had run when it was last renewed.
CREATE TABLE worn_parts (
    id INTEGER PRIMARY KEY,
    car_id INTEGER REFERENCES cars (id),
    motor_id INTEGER REFERENCES motors (id),
    name TEXT NOT NULL,
    since TEXT NOT NULL,
    runs_before INTEGER NOT NULL DEFAULT 0,
    minutes_before REAL NOT NULL DEFAULT 0,
    most_runs INTEGER,
    most_minutes REAL,
    last_runs INTEGER,
    last_minutes REAL,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX worn_parts_by_car ON worn_parts (car_id) WHERE car_id IS NOT NULL;
CREATE INDEX worn_parts_by_motor ON worn_parts (motor_id) WHERE motor_id IS NOT NULL;

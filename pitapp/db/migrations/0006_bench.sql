CREATE TABLE motor_checks (
    id INTEGER PRIMARY KEY,
    motor_id INTEGER NOT NULL REFERENCES motors (id),
    checked_at TEXT NOT NULL,
    as_new INTEGER NOT NULL DEFAULT 0 CHECK (as_new IN (0, 1)),
    free_rpm REAL,
    volts REAL,
    current_a REAL,
    sensor_a_deg REAL,
    sensor_b_deg REAL,
    sensor_c_deg REAL,
    can_c REAL,
    resistance_ohm REAL,
    mass_g REAL,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX motor_checks_by_motor ON motor_checks (motor_id, checked_at DESC, id DESC);
CREATE INDEX motor_checks_as_new ON motor_checks (motor_id, checked_at DESC, id DESC)
    WHERE as_new = 1;

CREATE TABLE weighed_parts (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    name TEXT NOT NULL,
    mass_g REAL NOT NULL,
    fitted INTEGER NOT NULL DEFAULT 1 CHECK (fitted IN (0, 1)),
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX weighed_parts_by_car ON weighed_parts (car_id);

CREATE TABLE corner_weighings (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    weighed_at TEXT NOT NULL,
    front_left_g REAL NOT NULL,
    front_right_g REAL NOT NULL,
    rear_left_g REAL NOT NULL,
    rear_right_g REAL NOT NULL,
    wheelbase_mm REAL,
    track_width_mm REAL,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX corner_weighings_by_car ON corner_weighings (car_id, weighed_at DESC, id DESC);

CREATE TABLE leads (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    name TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('pair', 'motor', 'single')),
    awg INTEGER NOT NULL,
    length_mm REAL NOT NULL,
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX leads_by_car ON leads (car_id);

-- A tilt test with what was fitted then; the holding torque is worked out from these.
CREATE TABLE tilt_tests (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    motor_id INTEGER REFERENCES motors (id),
    tested_at TEXT NOT NULL,
    angle_deg REAL NOT NULL,
    read_by TEXT NOT NULL CHECK (read_by IN ('typed', 'sensor')),
    mass_g REAL NOT NULL,
    tyre_diameter_mm REAL NOT NULL,
    pinion_teeth INTEGER NOT NULL,
    spur_teeth INTEGER NOT NULL,
    internal_ratio REAL NOT NULL,
    kv_rpm_per_v REAL,
    removed_at TEXT
) STRICT;

CREATE INDEX tilt_tests_by_car ON tilt_tests (car_id, tested_at DESC, id DESC);

-- What was last asked of a car: its drag brake, and the slope it stands on.
CREATE TABLE parked_cars (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL UNIQUE REFERENCES cars (id),
    drag_brake_percent REAL NOT NULL,
    slope_deg REAL NOT NULL
) STRICT;

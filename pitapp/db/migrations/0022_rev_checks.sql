-- Revs at full throttle, wheels in the air, beside the limit: the racer's own check. With a spread where it was heard.
CREATE TABLE rev_checks (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    motor_id INTEGER REFERENCES motors (id),
    checked_at TEXT NOT NULL,
    rpm REAL NOT NULL,
    heard_spread_rpm REAL,
    limit_rpm REAL NOT NULL,
    removed_at TEXT
) STRICT;

CREATE INDEX rev_checks_by_car ON rev_checks (car_id, checked_at DESC, id DESC);

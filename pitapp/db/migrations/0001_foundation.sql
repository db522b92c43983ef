CREATE TABLE settings (
    name TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT;

CREATE TABLE undo_steps (
    id INTEGER PRIMARY KEY,
    token TEXT NOT NULL UNIQUE,
    label TEXT NOT NULL,
    made_at TEXT NOT NULL,
    images TEXT NOT NULL,
    undone_at TEXT
) STRICT;

-- A write that carries a client-made key is answered from here when it is sent again.
CREATE TABLE answered_writes (
    key TEXT PRIMARY KEY,
    made_at TEXT NOT NULL,
    status INTEGER NOT NULL,
    location TEXT,
    content_type TEXT,
    body BLOB NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE motors (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    kv_rpm_per_v REAL NOT NULL,
    winding TEXT NOT NULL DEFAULT '',
    resistance_ohm REAL,
    no_load_current_a REAL,
    mass_g REAL,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE TABLE cars (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    internal_ratio REAL NOT NULL,
    pitch TEXT NOT NULL,
    tyre_diameter_mm REAL NOT NULL,
    motor_id INTEGER REFERENCES motors (id),
    pack_v REAL,
    rev_limit_rpm REAL,
    least_tooth_sum INTEGER,
    most_tooth_sum INTEGER,
    least_centre_distance_mm REAL,
    most_centre_distance_mm REAL,
    smallest_pinion INTEGER,
    largest_pinion INTEGER,
    smallest_spur INTEGER,
    largest_spur INTEGER,
    mass_g REAL,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE TABLE gears (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('pinion', 'spur')),
    teeth INTEGER NOT NULL,
    pitch TEXT NOT NULL,
    UNIQUE (kind, pitch, teeth)
) STRICT;

CREATE TABLE gear_fits (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    pinion_teeth INTEGER NOT NULL,
    spur_teeth INTEGER NOT NULL,
    internal_ratio REAL NOT NULL,
    tyre_diameter_mm REAL NOT NULL,
    fitted_at TEXT NOT NULL,
    remarks TEXT NOT NULL DEFAULT '',
    removed_at TEXT
) STRICT;

CREATE INDEX gear_fits_by_car ON gear_fits (car_id, fitted_at DESC, id DESC);

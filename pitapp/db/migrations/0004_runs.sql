-- `runs_elsewhere` are the runs that are not in the log; those in it are counted there.
CREATE TABLE tyre_sets (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    kind TEXT NOT NULL DEFAULT '',
    diameter_mm REAL,
    runs_elsewhere INTEGER NOT NULL DEFAULT 0,
    treatment TEXT NOT NULL DEFAULT '',
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

-- The racer's own list; `used` is a JSON list of the values that the entry had before, newest first.
CREATE TABLE car_setup (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    group_name TEXT NOT NULL DEFAULT '',
    name TEXT NOT NULL,
    value TEXT NOT NULL DEFAULT '',
    unit TEXT NOT NULL DEFAULT '',
    step_size REAL,
    used TEXT NOT NULL DEFAULT '[]',
    position INTEGER NOT NULL DEFAULT 0,
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX car_setup_by_car ON car_setup (car_id, position, id);

-- The newest entry of a car says which tyres are on it.
CREATE TABLE car_fitted (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    tyre_set_id INTEGER REFERENCES tyre_sets (id),
    since TEXT NOT NULL
) STRICT;

CREATE INDEX car_fitted_by_car ON car_fitted (car_id, id DESC);

-- Set-up and controller as they were, kept once for all the runs that had the same.
CREATE TABLE run_setups (
    id INTEGER PRIMARY KEY,
    digest TEXT NOT NULL UNIQUE,
    body TEXT NOT NULL
) STRICT;

CREATE TABLE runs (
    id INTEGER PRIMARY KEY,
    uuid TEXT NOT NULL UNIQUE,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    meeting_id INTEGER REFERENCES meetings (id),
    heat_id INTEGER REFERENCES heats (id),
    track_id INTEGER REFERENCES tracks (id),
    race_class_id INTEGER REFERENCES race_classes (id),
    motor_id INTEGER REFERENCES motors (id),
    pack_id INTEGER REFERENCES packs (id),
    tyre_set_id INTEGER REFERENCES tyre_sets (id),
    started_at TEXT NOT NULL,
    time_zone TEXT NOT NULL DEFAULT '',
    pinion_teeth INTEGER,
    spur_teeth INTEGER,
    internal_ratio REAL,
    tyre_diameter_mm REAL,
    can_c REAL,
    read_after_s REAL,
    air_c REAL,
    best_lap_s REAL,
    laps INTEGER,
    run_s REAL,
    position INTEGER,
    remarks TEXT NOT NULL DEFAULT '',
    snapshot TEXT NOT NULL,
    setup_id INTEGER REFERENCES run_setups (id),
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX runs_by_time ON runs (started_at DESC, id DESC) WHERE removed_at IS NULL;
CREATE INDEX runs_by_car ON runs (car_id, started_at DESC, id DESC) WHERE removed_at IS NULL;
CREATE INDEX runs_by_track ON runs (track_id, started_at DESC, id DESC) WHERE removed_at IS NULL;
CREATE INDEX runs_by_class ON runs (race_class_id, started_at DESC, id DESC)
    WHERE removed_at IS NULL;
CREATE INDEX runs_best ON runs (track_id, race_class_id, best_lap_s)
    WHERE removed_at IS NULL AND best_lap_s IS NOT NULL;
CREATE INDEX runs_by_meeting ON runs (meeting_id, started_at) WHERE meeting_id IS NOT NULL;
CREATE INDEX runs_by_heat ON runs (heat_id) WHERE heat_id IS NOT NULL;
CREATE INDEX runs_by_motor ON runs (motor_id, started_at) WHERE removed_at IS NULL;
CREATE INDEX runs_by_pack ON runs (pack_id, started_at) WHERE removed_at IS NULL;
CREATE INDEX runs_by_tyres ON runs (tyre_set_id, started_at) WHERE removed_at IS NULL;

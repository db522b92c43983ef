CREATE TABLE race_classes (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    rev_limit_rpm REAL,
    timing_fixed INTEGER NOT NULL DEFAULT 0 CHECK (timing_fixed IN (0, 1)),
    timing_deg REAL,
    timing_tolerance_deg REAL,
    winding TEXT NOT NULL DEFAULT '',
    least_mass_g REAL,
    most_capacity_mah REAL,
    most_start_v REAL,
    tyre TEXT NOT NULL DEFAULT '',
    least_ride_height_mm REAL,
    run_length_s REAL,
    heats_a_day INTEGER,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE TABLE class_limits (
    id INTEGER PRIMARY KEY,
    race_class_id INTEGER NOT NULL REFERENCES race_classes (id),
    name TEXT NOT NULL,
    unit TEXT NOT NULL DEFAULT '',
    least REAL,
    most REAL,
    exactly REAL,
    position INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE INDEX class_limits_by_class ON class_limits (race_class_id, position, id);

-- `day` is a date of the wall clock in `time_zone`; heats may run past its midnight.
CREATE TABLE meetings (
    id INTEGER PRIMARY KEY,
    day TEXT NOT NULL,
    name TEXT NOT NULL DEFAULT '',
    time_zone TEXT NOT NULL,
    track_id INTEGER REFERENCES tracks (id),
    race_class_id INTEGER REFERENCES race_classes (id),
    car_id INTEGER REFERENCES cars (id),
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX meetings_by_day ON meetings (day DESC, id DESC);

CREATE TABLE heats (
    id INTEGER PRIMARY KEY,
    meeting_id INTEGER NOT NULL REFERENCES meetings (id),
    number INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('heat', 'marshal', 'practice', 'final')),
    starts_at TEXT NOT NULL,
    done_at TEXT,
    removed_at TEXT
) STRICT;

CREATE INDEX heats_by_meeting ON heats (meeting_id, starts_at, id);

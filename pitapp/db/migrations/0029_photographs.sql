-- A photograph of a run, or of a car's set-up. The picture itself stands apart, so that a step back
-- and the file of everything can do without it.
CREATE TABLE photographs (
    id INTEGER PRIMARY KEY,
    run_id INTEGER REFERENCES runs (id),
    car_id INTEGER REFERENCES cars (id),
    caption TEXT NOT NULL DEFAULT '',
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    size_bytes INTEGER NOT NULL,
    added_at TEXT NOT NULL,
    removed_at TEXT
) STRICT;

CREATE INDEX photographs_by_run ON photographs (run_id) WHERE run_id IS NOT NULL;
CREATE INDEX photographs_by_car ON photographs (car_id) WHERE car_id IS NOT NULL;

-- The JPEG in base64 (RFC 4648, section 5), under the id of its photograph.
CREATE TABLE photograph_data (
    id INTEGER PRIMARY KEY,
    jpeg TEXT NOT NULL
) STRICT;

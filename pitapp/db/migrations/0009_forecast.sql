-- Figures of the racer's own for the forecast: of a car, of a motor, or of a car at a track (track 0
-- stands for "no track named"). What stands in Kit, in the class or on a pack is not repeated here.
CREATE TABLE forecast_inputs (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    car_id INTEGER NOT NULL DEFAULT 0,
    motor_id INTEGER NOT NULL DEFAULT 0,
    track_id INTEGER NOT NULL DEFAULT 0,
    value REAL NOT NULL,
    measured INTEGER NOT NULL CHECK (measured IN (0, 1)),
    set_at TEXT NOT NULL,
    UNIQUE (car_id, motor_id, track_id, name)
) STRICT;

-- A track that nobody measured yet: its longest straight and a feel for its corners.
CREATE TABLE track_feels (
    id INTEGER PRIMARY KEY,
    track_id INTEGER NOT NULL UNIQUE,
    longest_straight_m REAL NOT NULL,
    corners TEXT NOT NULL CHECK (corners IN ('tight', 'mixed', 'flowing'))
) STRICT;

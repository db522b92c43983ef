CREATE TABLE tracks (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    surface TEXT NOT NULL DEFAULT '',
    lap_length_m REAL,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE TABLE track_straights (
    id INTEGER PRIMARY KEY,
    track_id INTEGER NOT NULL REFERENCES tracks (id),
    position INTEGER NOT NULL,
    length_m REAL NOT NULL,
    entry_kmh REAL NOT NULL,
    exit_kmh REAL NOT NULL
) STRICT;

CREATE INDEX track_straights_by_track ON track_straights (track_id, position);

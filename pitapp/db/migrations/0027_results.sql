-- What a place is worth: a JSON list of points from the first place on, and `beyond` after its end.
CREATE TABLE point_tables (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    points TEXT NOT NULL,
    beyond REAL,
    ties TEXT NOT NULL DEFAULT 'full' CHECK (ties IN ('full', 'mean', 'last')),
    fewest_wins INTEGER NOT NULL DEFAULT 0 CHECK (fewest_wins IN (0, 1)),
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE TABLE seasons (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    point_table_id INTEGER REFERENCES point_tables (id),
    drops INTEGER NOT NULL DEFAULT 0,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE TABLE meeting_results (
    id INTEGER PRIMARY KEY,
    meeting_id INTEGER NOT NULL REFERENCES meetings (id),
    season_id INTEGER REFERENCES seasons (id),
    point_table_id INTEGER REFERENCES point_tables (id),
    best_heats INTEGER,
    qualifying_place INTEGER,
    final_name TEXT NOT NULL DEFAULT '',
    place INTEGER,
    shared_with INTEGER NOT NULL DEFAULT 0,
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX meeting_results_by_meeting ON meeting_results (meeting_id);
CREATE INDEX meeting_results_by_season ON meeting_results (season_id);

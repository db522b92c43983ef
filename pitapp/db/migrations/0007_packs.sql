CREATE TABLE packs (
    id INTEGER PRIMARY KEY,
    mark TEXT NOT NULL,
    cells_series INTEGER NOT NULL,
    cells_parallel INTEGER NOT NULL DEFAULT 1,
    capacity_mah REAL NOT NULL,
    most_charge_c REAL NOT NULL DEFAULT 1,
    nominal_v REAL,
    resistance_new_ohm REAL,
    bought_on TEXT,
    mass_g REAL,
    cycles_before INTEGER NOT NULL DEFAULT 0,
    damaged INTEGER NOT NULL DEFAULT 0 CHECK (damaged IN (0, 1)),
    damage TEXT NOT NULL DEFAULT '',
    retired_at TEXT,
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

-- What a meter showed of a resting pack; voltages and resistances by cell, as JSON lists.
CREATE TABLE pack_readings (
    id INTEGER PRIMARY KEY,
    pack_id INTEGER NOT NULL REFERENCES packs (id),
    read_at TEXT NOT NULL,
    cell_v TEXT NOT NULL DEFAULT '[]',
    cell_ohm TEXT NOT NULL DEFAULT '[]',
    cell_c REAL,
    after_charge INTEGER NOT NULL DEFAULT 0 CHECK (after_charge IN (0, 1)),
    remarks TEXT NOT NULL DEFAULT '',
    removed_at TEXT
) STRICT;

CREATE INDEX pack_readings_by_pack ON pack_readings (pack_id, read_at DESC, id DESC);
CREATE INDEX pack_readings_ohm ON pack_readings (pack_id, read_at DESC, id DESC)
    WHERE removed_at IS NULL AND cell_ohm <> '[]';
CREATE INDEX pack_readings_charged ON pack_readings (pack_id, read_at DESC, id DESC)
    WHERE removed_at IS NULL AND cell_v <> '[]' AND after_charge;

-- A charge being prepared has no `started_at`, one on the charger no `ended_at`. The phone makes the uuid.
CREATE TABLE pack_charges (
    id INTEGER PRIMARY KEY,
    uuid TEXT NOT NULL UNIQUE,
    pack_id INTEGER NOT NULL REFERENCES packs (id),
    purpose TEXT NOT NULL CHECK (purpose IN ('full', 'storage')),
    prepared_at TEXT NOT NULL,
    cells_set INTEGER,
    current_a REAL,
    discharging INTEGER NOT NULL DEFAULT 0 CHECK (discharging IN (0, 1)),
    start_percent REAL,
    started_at TEXT,
    due_at TEXT,
    ended_at TEXT,
    outcome TEXT CHECK (outcome IN ('done', 'stopped', 'trouble')),
    moved_mah REAL,
    remarks TEXT NOT NULL DEFAULT '',
    removed_at TEXT
) STRICT;

CREATE INDEX pack_charges_by_pack ON pack_charges (pack_id, started_at DESC, id DESC);
CREATE INDEX pack_charges_full ON pack_charges (pack_id, moved_mah)
    WHERE outcome = 'done' AND purpose = 'full' AND removed_at IS NULL;
CREATE INDEX pack_charges_open ON pack_charges (due_at) WHERE ended_at IS NULL AND started_at IS NOT NULL;

-- One answer at each step before a charge: "yes", "no", or what was read, as JSON where several.
CREATE TABLE pack_charge_answers (
    id INTEGER PRIMARY KEY,
    charge_id INTEGER NOT NULL REFERENCES pack_charges (id),
    step TEXT NOT NULL,
    shown TEXT NOT NULL,
    answered_at TEXT NOT NULL,
    UNIQUE (charge_id, step)
) STRICT;

CREATE TABLE pack_storages (
    id INTEGER PRIMARY KEY,
    pack_id INTEGER NOT NULL REFERENCES packs (id),
    stored_at TEXT NOT NULL,
    cell_v REAL,
    place TEXT NOT NULL DEFAULT '',
    removed_at TEXT
) STRICT;

CREATE INDEX pack_storages_by_pack ON pack_storages (pack_id, stored_at DESC, id DESC);

CREATE TABLE chargers (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    outputs INTEGER NOT NULL,
    amps_per_output REAL NOT NULL,
    watts_per_output REAL NOT NULL,
    amps_in_all REAL,
    watts_in_all REAL,
    discharge_a REAL NOT NULL DEFAULT 1,
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

-- The day's plan as it was last made: what it was made from, and what came out, as JSON.
CREATE TABLE charge_plans (
    id INTEGER PRIMARY KEY,
    meeting_id INTEGER NOT NULL UNIQUE REFERENCES meetings (id),
    charger_id INTEGER REFERENCES chargers (id),
    used_mah REAL NOT NULL,
    most_full_min REAL NOT NULL,
    cooling_min REAL NOT NULL,
    left_out TEXT NOT NULL DEFAULT '[]',
    made_at TEXT NOT NULL,
    made_from TEXT NOT NULL DEFAULT '',
    plan TEXT NOT NULL DEFAULT ''
) STRICT;

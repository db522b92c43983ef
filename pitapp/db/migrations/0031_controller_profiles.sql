-- A controller may hold several profiles. The first is its own: its plan stands at its settings, as
-- before, and a `profile_id` is empty where it is meant. `chosen` is the further one that was chosen on
-- the controller last, if it was one of them.
CREATE TABLE controller_profiles (
    id INTEGER PRIMARY KEY,
    controller_id INTEGER NOT NULL REFERENCES controllers (id),
    name TEXT NOT NULL DEFAULT '',
    race_class_id INTEGER REFERENCES race_classes (id),
    chosen INTEGER NOT NULL DEFAULT 0 CHECK (chosen IN (0, 1)),
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX controller_profiles_by_controller ON controller_profiles (controller_id, id);

CREATE TABLE profile_plans (
    id INTEGER PRIMARY KEY,
    profile_id INTEGER NOT NULL REFERENCES controller_profiles (id),
    step_id INTEGER NOT NULL REFERENCES check_steps (id),
    planned TEXT NOT NULL DEFAULT '',
    UNIQUE (profile_id, step_id)
) STRICT;

ALTER TABLE controllers ADD COLUMN profile_name TEXT NOT NULL DEFAULT '';
ALTER TABLE controllers ADD COLUMN profile_class_id INTEGER REFERENCES race_classes (id);
ALTER TABLE check_walks ADD COLUMN profile_id INTEGER REFERENCES controller_profiles (id);

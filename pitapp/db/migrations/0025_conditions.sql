-- How the track was in a run; the words are those of `pitapp/runs/conditions.py`.
ALTER TABLE runs ADD COLUMN track_c REAL;
ALTER TABLE runs ADD COLUMN grip TEXT;
ALTER TABLE runs ADD COLUMN wind TEXT;
ALTER TABLE runs ADD COLUMN dust TEXT;
ALTER TABLE runs ADD COLUMN wet TEXT;

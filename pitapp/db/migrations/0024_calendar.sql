-- How often an entry was changed: it only grows, at Undo too, so that a calendar takes the newer one.
ALTER TABLE heats ADD COLUMN sequence INTEGER NOT NULL DEFAULT 0;
ALTER TABLE charge_plans ADD COLUMN sequence INTEGER NOT NULL DEFAULT 0;
-- What a meeting's entries are known by in calendars; it goes along in every copy.
ALTER TABLE meetings ADD COLUMN calendar_key TEXT NOT NULL DEFAULT '';
UPDATE meetings SET calendar_key = lower(hex(randomblob(16)));

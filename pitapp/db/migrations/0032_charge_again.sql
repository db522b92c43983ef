-- The record of the pack as it was when a charge was started: one that was changed since is not
-- charged as last time (empty: not known).
ALTER TABLE pack_charges ADD COLUMN pack_version INTEGER;

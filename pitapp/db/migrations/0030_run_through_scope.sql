-- What a setting shows as it comes from its maker, and between which figures it can be set (metric).
ALTER TABLE check_steps ADD COLUMN maker_default TEXT NOT NULL DEFAULT '';
ALTER TABLE check_steps ADD COLUMN range_least REAL;
ALTER TABLE check_steps ADD COLUMN range_most REAL;

-- Which steps of its list a run-through goes through.
ALTER TABLE check_walks ADD COLUMN scope TEXT NOT NULL DEFAULT 'all'
    CHECK (scope IN ('all', 'legal', 'planned', 'reset'));

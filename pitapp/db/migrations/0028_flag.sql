-- When the flag fell on an outing, as somebody tapped it: from then on the can cools.
ALTER TABLE heats ADD COLUMN flag_at TEXT;

-- The list for straight after a heat reads what the log asks, and ends with the log.
UPDATE check_steps SET topic = 'can_c' WHERE topic = '' AND name = 'Temperature of the can'
    AND checklist_id IN (SELECT id FROM checklists WHERE occasion = 'after');
UPDATE check_steps SET topic = 'read_after_s' WHERE topic = '' AND name = 'Seconds since the car stopped'
    AND checklist_id IN (SELECT id FROM checklists WHERE occasion = 'after');
UPDATE check_steps SET topic = 'log' WHERE topic = '' AND name = 'Run written down'
    AND checklist_id IN (SELECT id FROM checklists WHERE occasion = 'after');
UPDATE check_answers SET key = (SELECT topic FROM check_steps WHERE id = step_id)
    WHERE step_id IN (SELECT id FROM check_steps WHERE topic IN ('can_c', 'read_after_s', 'log'));

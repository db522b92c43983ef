CREATE TABLE controllers (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    firmware TEXT NOT NULL DEFAULT '',
    signal_text TEXT NOT NULL DEFAULT '',
    remarks TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

-- The newest entry of a car says which controller is in it; none means it was taken out.
CREATE TABLE car_controllers (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    controller_id INTEGER REFERENCES controllers (id),
    since TEXT NOT NULL
) STRICT;

CREATE INDEX car_controllers_by_car ON car_controllers (car_id, id DESC);

CREATE TABLE checklists (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    occasion TEXT NOT NULL DEFAULT 'other',
    controller_id INTEGER UNIQUE REFERENCES controllers (id),
    position INTEGER NOT NULL DEFAULT 0,
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE TABLE check_steps (
    id INTEGER PRIMARY KEY,
    checklist_id INTEGER NOT NULL REFERENCES checklists (id),
    position INTEGER NOT NULL,
    group_name TEXT NOT NULL DEFAULT '',
    name TEXT NOT NULL,
    kind TEXT NOT NULL DEFAULT 'do' CHECK (kind IN ('do', 'yesno', 'number', 'choice', 'text')),
    unit TEXT NOT NULL DEFAULT '',
    step_size REAL,
    choices TEXT NOT NULL DEFAULT '[]',
    why TEXT NOT NULL DEFAULT '',
    goes_wrong TEXT NOT NULL DEFAULT '',
    caution TEXT NOT NULL DEFAULT '',
    required INTEGER NOT NULL DEFAULT 0 CHECK (required IN (0, 1)),
    wait_s INTEGER,
    topic TEXT NOT NULL DEFAULT '',
    planned TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    removed_at TEXT
) STRICT;

CREATE INDEX check_steps_by_list ON check_steps (checklist_id, position, id);

-- A run-through; the phone makes the uuid, so that the first answer can make the walk.
CREATE TABLE check_walks (
    id INTEGER PRIMARY KEY,
    uuid TEXT NOT NULL UNIQUE,
    checklist_id INTEGER NOT NULL REFERENCES checklists (id),
    car_id INTEGER REFERENCES cars (id),
    controller_id INTEGER REFERENCES controllers (id),
    motor_id INTEGER REFERENCES motors (id),
    race_class_id INTEGER REFERENCES race_classes (id),
    meeting_id INTEGER REFERENCES meetings (id),
    firmware TEXT NOT NULL DEFAULT '',
    started_at TEXT NOT NULL,
    ended_at TEXT,
    removed_at TEXT
) STRICT;

CREATE INDEX check_walks_by_list ON check_walks (checklist_id, started_at DESC, id DESC);
CREATE INDEX check_walks_by_list_and_car ON check_walks (checklist_id, car_id, started_at DESC, id DESC);
CREATE INDEX check_walks_by_car ON check_walks (car_id, started_at DESC, id DESC);

CREATE TABLE check_answers (
    id INTEGER PRIMARY KEY,
    walk_id INTEGER NOT NULL REFERENCES check_walks (id),
    step_id INTEGER NOT NULL REFERENCES check_steps (id),
    key TEXT NOT NULL,
    shown TEXT NOT NULL DEFAULT '',
    skipped INTEGER NOT NULL DEFAULT 0 CHECK (skipped IN (0, 1)),
    reason TEXT NOT NULL DEFAULT '',
    unit TEXT NOT NULL DEFAULT '',
    planned TEXT NOT NULL DEFAULT '',
    last_shown TEXT NOT NULL DEFAULT '',
    least REAL,
    most REAL,
    began_at TEXT,
    answered_at TEXT,
    UNIQUE (walk_id, step_id)
) STRICT;

CREATE INDEX check_answers_by_key ON check_answers (key, answered_at DESC);
CREATE INDEX check_answers_by_step ON check_answers (step_id, answered_at DESC);

-- The lists to begin with; every word of them is the racer's to change.
INSERT INTO checklists (id, name, occasion, position) VALUES
    (1, 'Before the meeting', 'meeting', 1),
    (2, 'Before scrutineering', 'scrutineering', 2),
    (3, 'Before a heat', 'heat', 3),
    (4, 'Straight after a heat', 'after', 4),
    (5, 'End of the day', 'end', 5);

INSERT INTO check_steps (checklist_id, position, name, kind, unit, step_size, why, goes_wrong, caution, required, wait_s, topic, planned) VALUES
    (1, 1, 'Setting tool connects to the controller', 'yesno', '', NULL, 'Without it no setting can be shown or put right at the track.', 'It wants a newer version of itself first, where there is no network.', '', 1, NULL, '', 'yes'),
    (1, 2, 'Setting tool is itself up to date', 'yesno', '', NULL, 'An old tool may hide settings or read them wrongly.', '', '', 0, NULL, '', 'yes'),
    (1, 3, 'Firmware of the controller noted', 'do', '', NULL, 'A change of firmware can put settings back to where they were.', '', '', 0, NULL, '', ''),
    (1, 4, 'The long and the short gears packed', 'do', '', NULL, 'The track may want a gear outside the usual few.', 'The one pinion that is needed is at home.', '', 0, NULL, '', ''),
    (1, 5, 'Spares packed', 'do', '', NULL, 'Wheels, arms, servo horn, sensor lead, screws.', '', '', 0, NULL, '', ''),
    (1, 6, 'Scales, gauge and thermometer packed', 'do', '', NULL, 'What cannot be measured cannot be shown to be legal.', '', '', 0, NULL, '', ''),
    (1, 7, 'Packs at the charge planned for the trip', 'do', '', NULL, '', '', 'Carry packs in a fire-safe bag, leads covered. Follow the label and the carrier''s rules.', 0, NULL, '', ''),
    (1, 8, 'Charger, leads and fire-safe bag packed', 'do', '', NULL, '', '', '', 0, NULL, '', ''),
    (1, 9, 'Transmitter charged', 'do', '', NULL, '', '', '', 0, NULL, '', ''),
    (1, 10, 'Class rules read again', 'do', '', NULL, 'Limits change between seasons and between tracks.', '', '', 0, NULL, '', '');

INSERT INTO check_steps (checklist_id, position, name, kind, unit, step_size, why, goes_wrong, caution, required, wait_s, topic, planned) VALUES
    (2, 1, 'Weight, ready to race', 'number', 'g', 1, 'With the pack, body and transponder that will race.', 'The scales were not level, or not zeroed.', '', 1, NULL, 'mass', ''),
    (2, 2, 'Start voltage', 'number', 'V', 0.01, 'Resting, off the charger, as the official will measure it.', '', 'Keep the probes apart: a shorted pack burns.', 1, NULL, 'start_v', ''),
    (2, 3, 'Ride height', 'number', 'mm', 0.1, 'At the lowest point, ready to race, on a flat plate.', '', '', 0, NULL, 'ride_height', ''),
    (2, 4, 'Timing of the motor', 'number', '°', 0.1, 'As read on the bench, or from the mark on the end bell.', 'The end bell turned when its screws were tightened.', '', 0, NULL, 'motor_timing', ''),
    (2, 5, 'Capacity on the pack''s label', 'number', 'mAh', 100, '', '', '', 0, NULL, 'capacity', ''),
    (2, 6, 'Tyres as the class asks', 'yesno', '', NULL, '', '', '', 0, NULL, '', 'yes'),
    (2, 7, 'Body and wing as the class asks', 'yesno', '', NULL, '', '', '', 0, NULL, '', 'yes'),
    (2, 8, 'Numbers and transponder on the car', 'yesno', '', NULL, '', '', '', 0, NULL, '', 'yes');

INSERT INTO check_steps (checklist_id, position, name, kind, unit, step_size, why, goes_wrong, caution, required, wait_s, topic, planned) VALUES
    (3, 1, 'Wheel nuts and pinion screw tight', 'do', '', NULL, '', 'The pinion screw sits beside the flat of the shaft.', '', 0, NULL, '', ''),
    (3, 2, 'Mesh turns freely all the way round', 'do', '', NULL, '', '', 'Pack lead off before fingers touch the gears.', 0, NULL, '', ''),
    (3, 3, 'Pack strapped in, leads clear of gears and belt', 'do', '', NULL, '', '', '', 0, NULL, '', ''),
    (3, 4, 'Right car chosen in the transmitter', 'do', '', NULL, 'The wrong one turns the steering or the throttle round.', '', '', 0, NULL, '', ''),
    (3, 5, 'Transmitter on first, then the car', 'do', '', NULL, '', '', 'Wheels off the ground, fingers clear.', 0, NULL, '', ''),
    (3, 6, 'Steering and brake answer the right way', 'yesno', '', NULL, '', '', 'Wheels off the ground, fingers clear.', 1, NULL, '', 'yes'),
    (3, 7, 'Start voltage', 'number', 'V', 0.01, '', '', 'Keep the probes apart: a shorted pack burns.', 0, NULL, 'start_v', ''),
    (3, 8, 'Body pins in, transponder answers', 'do', '', NULL, '', '', '', 0, NULL, '', '');

INSERT INTO check_steps (checklist_id, position, name, kind, unit, step_size, why, goes_wrong, caution, required, wait_s, topic, planned) VALUES
    (4, 1, 'Temperature of the can', 'number', '°C', 1, 'It falls with every second: measure before anything else.', 'Read minutes later, it looks cool and the gear looks safe.', 'Do not touch: the can burns skin. Point the thermometer.', 1, NULL, '', ''),
    (4, 2, 'Seconds since the car stopped', 'number', 's', 5, 'So that the temperature at the flag can be worked out.', '', '', 0, NULL, '', ''),
    (4, 3, 'Car off, then the transmitter', 'do', '', NULL, '', '', 'Wheels off the ground until both are off.', 1, NULL, '', ''),
    (4, 4, 'Temperature of the pack', 'number', '°C', 1, '', '', 'Hot, swollen or smelling: carry it outside, away from everything, and leave it there.', 0, NULL, '', ''),
    (4, 5, 'Pack out, lead off', 'do', '', NULL, '', '', '', 1, NULL, '', ''),
    (4, 6, 'Pack and motor rest', 'do', '', NULL, 'A warm pack must cool before it is charged.', '', 'Stay with it. Do not charge a warm pack.', 0, 600, '', ''),
    (4, 7, 'Nothing rubbed, loose or cracked', 'yesno', '', NULL, '', '', '', 0, NULL, '', 'yes'),
    (4, 8, 'Run written down', 'do', '', NULL, 'The gear, the lap and the temperature are forgotten by the next heat.', '', '', 0, NULL, '', '');

INSERT INTO check_steps (checklist_id, position, name, kind, unit, step_size, why, goes_wrong, caution, required, wait_s, topic, planned) VALUES
    (5, 1, 'Every pack brought to storage charge', 'do', '', NULL, 'A pack kept full ages, and holds more that can burn.', '', 'Stay with every pack on the charger. Follow its label.', 1, NULL, '', ''),
    (5, 2, 'No pack swollen, dented or hot', 'yesno', '', NULL, '', '', 'A damaged pack is never charged again. Keep it outside until it is made safe.', 1, NULL, '', 'yes'),
    (5, 3, 'What was learned is written down', 'do', '', NULL, 'The gear to start with next time, and why.', '', '', 0, NULL, '', ''),
    (5, 4, 'Gears, tools and gauges counted back', 'do', '', NULL, '', '', '', 0, NULL, '', ''),
    (5, 5, 'Car cleaned, screws and bearings felt', 'do', '', NULL, '', '', '', 0, NULL, '', ''),
    (5, 6, 'Transmitter and charger off', 'do', '', NULL, '', '', '', 0, NULL, '', '');

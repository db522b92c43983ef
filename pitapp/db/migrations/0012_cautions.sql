-- Cautions of the lists to begin with, as published; what the racer has changed stays as it is.
-- No published number of minutes cools a pack, so the timer of ten goes.
UPDATE check_steps SET
    why = 'Charge a pack only when it is as cool as the air around it, and under 40 °C.',
    goes_wrong = 'A time was waited for, and the pack was warm all the same.',
    caution = 'Stay with it.',
    wait_s = NULL,
    version = version + 1
WHERE name = 'Pack and motor rest' AND why = 'A warm pack must cool before it is charged.'
    AND caution = 'Stay with it. Do not charge a warm pack.' AND wait_s = 600;

UPDATE check_steps SET
    caution = 'Hissing or smoking: let go of it and get away. Only hot or swollen: outdoors with it, if you safely can.',
    version = version + 1
WHERE name = 'Temperature of the pack'
    AND caution = 'Hot, swollen or smelling: carry it outside, away from everything, and leave it there.';

UPDATE check_steps SET
    caution = 'Stay with every pack on the charger, in a bag or box too. Follow its label.',
    version = version + 1
WHERE name = 'Every pack brought to storage charge'
    AND caution = 'Stay with every pack on the charger. Follow its label.';

UPDATE check_steps SET
    caution = 'A damaged pack is never charged or run again. Keep it outdoors; ask its maker or a collection point.',
    version = version + 1
WHERE name = 'No pack swollen, dented or hot'
    AND caution = 'A damaged pack is never charged again. Keep it outside until it is made safe.';

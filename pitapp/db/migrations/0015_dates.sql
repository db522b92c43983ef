-- Days and moments of years that no screen could show: a year of two digits is of this century, any
-- other goes to the nearest end of what is taken, 2000 to 2200.
UPDATE gear_fits SET fitted_at = CASE
    WHEN fitted_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(fitted_at, 3)
    WHEN fitted_at GLOB '[0-9][0-9]-*' THEN '20' || fitted_at
    WHEN fitted_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE fitted_at NOT GLOB '2[01][0-9][0-9]-*' AND fitted_at NOT GLOB '2200-*';
UPDATE meetings SET day = CASE
    WHEN day GLOB '00[0-9][0-9]-*' THEN '20' || substr(day, 3)
    WHEN day GLOB '[0-9][0-9]-*' THEN '20' || day
    WHEN day < '2000' THEN '2000-01-01' ELSE '2200-12-31' END
WHERE day NOT GLOB '2[01][0-9][0-9]-*' AND day NOT GLOB '2200-*';
UPDATE heats SET starts_at = CASE
    WHEN starts_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(starts_at, 3)
    WHEN starts_at GLOB '[0-9][0-9]-*' THEN '20' || starts_at
    WHEN starts_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE starts_at NOT GLOB '2[01][0-9][0-9]-*' AND starts_at NOT GLOB '2200-*';
UPDATE heats SET done_at = CASE
    WHEN done_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(done_at, 3)
    WHEN done_at GLOB '[0-9][0-9]-*' THEN '20' || done_at
    WHEN done_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE done_at NOT GLOB '2[01][0-9][0-9]-*' AND done_at NOT GLOB '2200-*';
UPDATE car_fitted SET since = CASE
    WHEN since GLOB '00[0-9][0-9]-*' THEN '20' || substr(since, 3)
    WHEN since GLOB '[0-9][0-9]-*' THEN '20' || since
    WHEN since < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE since NOT GLOB '2[01][0-9][0-9]-*' AND since NOT GLOB '2200-*';
UPDATE runs SET started_at = CASE
    WHEN started_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(started_at, 3)
    WHEN started_at GLOB '[0-9][0-9]-*' THEN '20' || started_at
    WHEN started_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE started_at NOT GLOB '2[01][0-9][0-9]-*' AND started_at NOT GLOB '2200-*';
UPDATE car_controllers SET since = CASE
    WHEN since GLOB '00[0-9][0-9]-*' THEN '20' || substr(since, 3)
    WHEN since GLOB '[0-9][0-9]-*' THEN '20' || since
    WHEN since < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE since NOT GLOB '2[01][0-9][0-9]-*' AND since NOT GLOB '2200-*';
UPDATE check_walks SET started_at = CASE
    WHEN started_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(started_at, 3)
    WHEN started_at GLOB '[0-9][0-9]-*' THEN '20' || started_at
    WHEN started_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE started_at NOT GLOB '2[01][0-9][0-9]-*' AND started_at NOT GLOB '2200-*';
UPDATE check_walks SET ended_at = CASE
    WHEN ended_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(ended_at, 3)
    WHEN ended_at GLOB '[0-9][0-9]-*' THEN '20' || ended_at
    WHEN ended_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE ended_at NOT GLOB '2[01][0-9][0-9]-*' AND ended_at NOT GLOB '2200-*';
UPDATE check_answers SET began_at = CASE
    WHEN began_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(began_at, 3)
    WHEN began_at GLOB '[0-9][0-9]-*' THEN '20' || began_at
    WHEN began_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE began_at NOT GLOB '2[01][0-9][0-9]-*' AND began_at NOT GLOB '2200-*';
UPDATE check_answers SET answered_at = CASE
    WHEN answered_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(answered_at, 3)
    WHEN answered_at GLOB '[0-9][0-9]-*' THEN '20' || answered_at
    WHEN answered_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE answered_at NOT GLOB '2[01][0-9][0-9]-*' AND answered_at NOT GLOB '2200-*';
UPDATE motor_checks SET checked_at = CASE
    WHEN checked_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(checked_at, 3)
    WHEN checked_at GLOB '[0-9][0-9]-*' THEN '20' || checked_at
    WHEN checked_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE checked_at NOT GLOB '2[01][0-9][0-9]-*' AND checked_at NOT GLOB '2200-*';
UPDATE corner_weighings SET weighed_at = CASE
    WHEN weighed_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(weighed_at, 3)
    WHEN weighed_at GLOB '[0-9][0-9]-*' THEN '20' || weighed_at
    WHEN weighed_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE weighed_at NOT GLOB '2[01][0-9][0-9]-*' AND weighed_at NOT GLOB '2200-*';
UPDATE packs SET bought_on = CASE
    WHEN bought_on GLOB '00[0-9][0-9]-*' THEN '20' || substr(bought_on, 3)
    WHEN bought_on GLOB '[0-9][0-9]-*' THEN '20' || bought_on
    WHEN bought_on < '2000' THEN '2000-01-01' ELSE '2200-12-31' END
WHERE bought_on NOT GLOB '2[01][0-9][0-9]-*' AND bought_on NOT GLOB '2200-*';
UPDATE packs SET retired_at = CASE
    WHEN retired_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(retired_at, 3)
    WHEN retired_at GLOB '[0-9][0-9]-*' THEN '20' || retired_at
    WHEN retired_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE retired_at NOT GLOB '2[01][0-9][0-9]-*' AND retired_at NOT GLOB '2200-*';
UPDATE pack_readings SET read_at = CASE
    WHEN read_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(read_at, 3)
    WHEN read_at GLOB '[0-9][0-9]-*' THEN '20' || read_at
    WHEN read_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE read_at NOT GLOB '2[01][0-9][0-9]-*' AND read_at NOT GLOB '2200-*';
UPDATE pack_charges SET prepared_at = CASE
    WHEN prepared_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(prepared_at, 3)
    WHEN prepared_at GLOB '[0-9][0-9]-*' THEN '20' || prepared_at
    WHEN prepared_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE prepared_at NOT GLOB '2[01][0-9][0-9]-*' AND prepared_at NOT GLOB '2200-*';
UPDATE pack_charges SET started_at = CASE
    WHEN started_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(started_at, 3)
    WHEN started_at GLOB '[0-9][0-9]-*' THEN '20' || started_at
    WHEN started_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE started_at NOT GLOB '2[01][0-9][0-9]-*' AND started_at NOT GLOB '2200-*';
UPDATE pack_charges SET due_at = CASE
    WHEN due_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(due_at, 3)
    WHEN due_at GLOB '[0-9][0-9]-*' THEN '20' || due_at
    WHEN due_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE due_at NOT GLOB '2[01][0-9][0-9]-*' AND due_at NOT GLOB '2200-*';
UPDATE pack_charges SET ended_at = CASE
    WHEN ended_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(ended_at, 3)
    WHEN ended_at GLOB '[0-9][0-9]-*' THEN '20' || ended_at
    WHEN ended_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE ended_at NOT GLOB '2[01][0-9][0-9]-*' AND ended_at NOT GLOB '2200-*';
UPDATE pack_charge_answers SET answered_at = CASE
    WHEN answered_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(answered_at, 3)
    WHEN answered_at GLOB '[0-9][0-9]-*' THEN '20' || answered_at
    WHEN answered_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE answered_at NOT GLOB '2[01][0-9][0-9]-*' AND answered_at NOT GLOB '2200-*';
UPDATE pack_storages SET stored_at = CASE
    WHEN stored_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(stored_at, 3)
    WHEN stored_at GLOB '[0-9][0-9]-*' THEN '20' || stored_at
    WHEN stored_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE stored_at NOT GLOB '2[01][0-9][0-9]-*' AND stored_at NOT GLOB '2200-*';
UPDATE charge_plans SET made_at = CASE
    WHEN made_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(made_at, 3)
    WHEN made_at GLOB '[0-9][0-9]-*' THEN '20' || made_at
    WHEN made_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE made_at NOT GLOB '2[01][0-9][0-9]-*' AND made_at NOT GLOB '2200-*';
UPDATE tilt_tests SET tested_at = CASE
    WHEN tested_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(tested_at, 3)
    WHEN tested_at GLOB '[0-9][0-9]-*' THEN '20' || tested_at
    WHEN tested_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE tested_at NOT GLOB '2[01][0-9][0-9]-*' AND tested_at NOT GLOB '2200-*';
UPDATE forecast_inputs SET set_at = CASE
    WHEN set_at GLOB '00[0-9][0-9]-*' THEN '20' || substr(set_at, 3)
    WHEN set_at GLOB '[0-9][0-9]-*' THEN '20' || set_at
    WHEN set_at < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE set_at NOT GLOB '2[01][0-9][0-9]-*' AND set_at NOT GLOB '2200-*';
UPDATE car_packs SET since = CASE
    WHEN since GLOB '00[0-9][0-9]-*' THEN '20' || substr(since, 3)
    WHEN since GLOB '[0-9][0-9]-*' THEN '20' || since
    WHEN since < '2000' THEN '2000-01-01T00:00:00Z' ELSE '2200-12-31T23:59:59Z' END
WHERE since NOT GLOB '2[01][0-9][0-9]-*' AND since NOT GLOB '2200-*';

"""How the car goes along a straight and round a lap in each gear, and which gear to fit.

Force, speed, distance, charge and motor heat, the ranking of gears, what it stands on, what runs
have taught it, what if, and which gears to take or buy.
Gear sums belong to `gearing`, what the heat does to the can to `heat`, logged runs to `runs`.

`learning` learns from runs (how the can warms, laps with days of their own, corners, charge),
robustly and with what is believed beforehand. `ranking` chooses: `uncertainty` has every part of
every ±, `head` the gear at the head of the page (the quickest that stays 1.7 ± under the limit, at
most 6 % beyond a logged one; none before the first run), `trying` what to run next. A can counts as
it was read, when it was read; the back-test (`trials`) judges readings. A motor's resistance is
measured cold and reckoned warm (`setting_up.warm_ohm`).

`tests/racers` are invented racers of other physics who type into the app's own forms:
`python -m tests.racers --seed 1 2 3` tries 72 a seed and prints how far off cans, laps and heads
were. Change a belief for a cause or a source, never for a seed.
"""

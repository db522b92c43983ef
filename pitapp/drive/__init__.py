"""How the car goes along a straight and round a lap in each gear, and which gear to fit.

Gear sums belong to `gearing`, what the heat does to the can to `heat`, logged runs to `runs`.

`physics` drives straights and laps. `inputs` says what each figure is and where it comes from.
`learning` fits what runs show (how the can warms, laps with days of their own, corners, charge),
robustly and with a prior; its `backtest` judges the forecasts. `ranking` chooses: `uncertainty` has
every part of every ±, `head` the gear at the head of the page (the least loss by lap and by the chance
of a hot can, at most 6 % beyond a logged one; none before the first run), `value_of_information` what
to run next. `car_context` reads the car with its track, class and runs, `forecast_context` adds
what was learned; the screens show them. A can counts as it was read, when it was read. A motor's
resistance is measured cold and used warm (`inputs.build_setup.warm_ohm`).

`tests/racers` are invented racers of other physics who type into the app's own forms:
`python -m tests.racers --seed 1 2 3` tries 72 a seed and prints how far off cans, laps and heads
were. Change a prior for a cause or a source, never for a seed.
"""

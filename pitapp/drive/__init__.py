"""How the car goes along a straight and round a lap in each gear, and which gear to fit.

Pure models and formulas: force, speed, distance, charge, motor heat and the ranking of gears.
Gear sums belong to `gearing`, what the heat does to the can to `heat`, logged runs to `runs`.
"""

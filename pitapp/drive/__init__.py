"""How the car goes along a straight and round a lap in each gear, and which gear to fit.

Force, speed, distance, charge and motor heat, the ranking of gears, what it stands on, what runs
have taught it, what if, and which gears to take or buy.
Gear sums belong to `gearing`, what the heat does to the can to `heat`, logged runs to `runs`.
"""

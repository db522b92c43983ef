"""The parked car: tilt test, hold angle, and how fast and far a car creeps with its drag brake.

Here belongs whether a car left alone stays where it is. The drive down a straight does not: that
is `pitapp.drive`; gears are in `pitapp.gearing`, the motor's figures in `pitapp.motor`.
"""

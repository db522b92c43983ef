"""A car's set-up: the racer's own list of names, values and units.

How a past run was set up stands in that run's snapshot and is not changed from here.
"""

"""The log: runs with what was fitted as it was, a car's set-up, its tyre sets, and what changed.

A run keeps its own copy of everything that was in the car, so that changing the kit later does not
rewrite it. What is learned from many runs belongs to `pitapp.tracks`, `pitapp.heat` and `pitapp.drive`.
"""

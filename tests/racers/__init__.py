"""Invented racers whose cars obey other physics than the app's, to hold its forecast against.

They type into the app's own forms and read its own pages; nothing here imports a formula of
pitapp. `python -m tests.racers --seed 1` tries many and prints how the forecast did.
"""

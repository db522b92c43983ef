"""Controllers with their settings, checklists, run-throughs of both, and the scrutineering card.

A checklist is ordered steps, a run-through is a walk along them with an answer at each; a
controller's settings are the steps of its own list, gone through whole or in part (`scope.py`).
What a motor does on the bench, and the class's limits themselves, do not belong here.
"""

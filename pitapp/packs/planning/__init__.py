"""The day's charge plan as the racer meets it: chargers, what is planned with, plan and replan.

The search for the best plan is pure and stands in `pitapp.packs.solver.plan`.
"""

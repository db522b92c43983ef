"""The laps of a run: pasted, typed or clocked, kept in one column of the run, and what they say.

`formulas.py` is the sums, `pasted.py` reads a list of laps in any layout, `store.py` keeps it.
Test: `tests/test_runs_laps*.py`, `e2e/test_lap_clock.py`.
"""

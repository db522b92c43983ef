"""The laps of a run: pasted, typed or clocked, kept in one column of the run, and what they say.

`formulas.py` is the sums. Pasted text: `lines.py` reads the figures of a line (1:02,3; what a comma means),
`rows.py` makes a table of them, `pasted.py` picks the laps. A time typed alone: `runs/formulas.py: parse_time_s`.
`store.py` keeps them.
Test: `tests/test_runs_laps*.py`, `e2e/test_lap_clock.py`.
"""

"""How warm the motor's can gets in a run, and what logged runs teach about it.

Pure models and formulas. Where the heat comes from belongs to `drive`, logged runs to `runs`.
"""

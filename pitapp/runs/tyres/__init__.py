"""Sets of tyres, and which set is on a car now.

The runs that a set has done are counted in the log; only those from before it are typed.
"""

"""The solver of a day's charge plan: the problem, the search with its bounds, what cannot be done.

Pure: minutes and numbers in, steps out; what is on record becomes numbers in `packs.planning`.
"""

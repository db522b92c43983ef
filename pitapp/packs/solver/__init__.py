"""The day's charge plan: the problem, the search with its bounds, and what it cannot do."""

"""Results: what a place is worth, a meeting's qualifying, finals and place, a season with drop scores.

The place in a heat is that of its run in the log. Whatever is left empty is left out; nothing else
in the app asks for it.
"""

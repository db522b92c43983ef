"""The tracks that are raced on: surface, straights, what was run there, and what to start with next time.

How a lap is driven belongs to `drive`, and the runs themselves to `runs`.
"""

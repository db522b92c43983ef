"""Writes: one transaction each, done once, undone with one tap.

What is written is the room's business; how rows are put back is `db.undo`.
"""

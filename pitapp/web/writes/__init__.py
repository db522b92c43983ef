"""Writes: one transaction each, done once, undone with one tap."""

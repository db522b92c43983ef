"""Checklists and their steps as the racer keeps them: making, editing and reordering.

Walking along them is the room's own matter, and stands one folder up.
"""

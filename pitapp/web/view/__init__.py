"""What every page shows: navigation, icons, theme, plots.

A room's own drawings are made in the room.
"""

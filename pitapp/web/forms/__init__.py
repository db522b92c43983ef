"""Form fields as racers type, and what is wrong with them at the field.

What a value may be stands in the room's models.
"""

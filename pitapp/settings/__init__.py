"""The Settings screen: units, look, time zone, and what concerns the app as a whole.

The values themselves are kept by `db.settings`. Limits of a class belong to `meetings`, and what a
car is belongs to `kit`.
"""

"""Which gear to fit: every ± in one place, the gear at the head, and what to try next.

It weighs what the drive model says with what `learning` has found. Nothing here asks a database.
"""

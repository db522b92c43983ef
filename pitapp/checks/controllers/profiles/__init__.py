"""The profiles that a controller holds: each with its plan, and with the class that it goes with.

The first is the controller's own: its plan stands at the settings themselves.
"""

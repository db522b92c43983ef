"""pitapp: the race day of an electric model touring car, on a phone with no signal."""

__version__ = "0.1.0"

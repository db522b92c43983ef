"""Photographs of a run or of a car's set-up: scaled down on the phone, stripped of all but the picture.

What a picture says beside itself (place, phone, time) goes no further than the phone that took it.
"""

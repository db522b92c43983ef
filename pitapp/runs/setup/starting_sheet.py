"""The set-up sheet that a car without one begins with: the trade's usual entries, no values."""

from __future__ import annotations

STARTING_SHEET = """Front:
Ride height = ? mm
Camber = ? °
Toe = ? °
Springs = ?
Damper oil = ?
Roll bar = ? mm
Differential = ?
Rear:
Ride height = ? mm
Camber = ? °
Toe = ? °
Springs = ?
Damper oil = ?
Roll bar = ? mm
Differential = ?
Body:
Body = ?
Wing = ?"""

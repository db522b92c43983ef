"""The drive model's public names: closed forms, straights, laps, ranking and learning."""

from __future__ import annotations

from pitapp.drive.air import air_density_kg_m3
from pitapp.drive.forecast import GearForecast
from pitapp.drive.lap import run_lap, track_by_feel
from pitapp.drive.learn import LapPoint, fit_lap_slope
from pitapp.drive.models import Air, Car, Controller, Motor, Pack, Setup, Straight, Track
from pitapp.drive.rank import rank_gears
from pitapp.drive.results import LapResult, LapSlope, Phase, StraightResult
from pitapp.drive.riccati import distance_after, speed_after, time_to_speed
from pitapp.drive.straight import run_straight

__all__ = [
    "Air",
    "Car",
    "Controller",
    "GearForecast",
    "LapPoint",
    "LapResult",
    "LapSlope",
    "Motor",
    "Pack",
    "Phase",
    "Setup",
    "Straight",
    "StraightResult",
    "Track",
    "air_density_kg_m3",
    "distance_after",
    "fit_lap_slope",
    "rank_gears",
    "run_lap",
    "run_straight",
    "speed_after",
    "time_to_speed",
    "track_by_feel",
]

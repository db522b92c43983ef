"""The drive model's public names: closed forms, straights, laps, ranking and learning."""

from __future__ import annotations

from pitapp.drive.learning.lap_slope import LapPoint, fit_lap_slope
from pitapp.drive.models import Air, Car, Controller, Motor, Pack, Setup, Straight, Track
from pitapp.drive.physics.air import air_density_kg_m3
from pitapp.drive.physics.lap import run_lap, track_by_feel
from pitapp.drive.physics.results import LapResult, LapSlope, Phase, StraightResult
from pitapp.drive.physics.riccati import distance_after, speed_after, time_to_speed
from pitapp.drive.physics.straight import run_straight
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.rank import rank_gears

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

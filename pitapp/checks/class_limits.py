"""What a class asks of readings, each under the key of the step that takes it."""

from __future__ import annotations

from pitapp.checks.models import Limit
from pitapp.meetings.models import RaceClass


def class_limits(race_class: RaceClass | None) -> dict[str, Limit]:
    """The class's limits by topic, and its further ones by their names.

    Fixed timing forbids any advance in the controller. A timing in degrees is the motor's own, within
    its tolerance, whether or not it was also called fixed.

    >>> limits = class_limits(RaceClass(name="Example", rev_limit_rpm=14_600, timing_fixed=True))
    >>> limits["rev_limit"].most, limits["timing"].most, "mass" in limits
    (14600.0, 0.0, False)
    """
    if race_class is None:
        return {}
    limits = {
        limit.name.casefold(): Limit(least=limit.exactly, most=limit.exactly)
        if limit.exactly is not None
        else Limit(least=limit.least, most=limit.most)
        for limit in race_class.limits
    }
    if race_class.rev_limit_rpm is not None:
        limits["rev_limit"] = Limit(most=race_class.rev_limit_rpm)
    if race_class.timing_fixed:
        limits["timing"] = Limit(least=0, most=0)
    if race_class.timing_deg is not None:
        slack = race_class.timing_tolerance_deg or 0
        limits["motor_timing"] = Limit(
            least=race_class.timing_deg - slack, most=race_class.timing_deg + slack
        )
    if race_class.least_mass_g is not None:
        limits["mass"] = Limit(least=race_class.least_mass_g)
    if race_class.most_start_v is not None:
        limits["start_v"] = Limit(most=race_class.most_start_v)
    if race_class.most_capacity_mah is not None:
        limits["capacity"] = Limit(most=race_class.most_capacity_mah)
    if race_class.least_ride_height_mm is not None:
        limits["ride_height"] = Limit(least=race_class.least_ride_height_mm)
    return limits

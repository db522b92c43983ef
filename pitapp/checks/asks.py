"""What a class asks of readings, each under the key of the step that takes it."""

from __future__ import annotations

from pitapp.checks.models import Asked
from pitapp.meetings.models import RaceClass


def asks(race_class: RaceClass | None) -> dict[str, Asked]:
    """The class's limits by topic, and its further ones by their names.

    Fixed timing forbids any advance in the controller; the motor's own timing is then what the
    class says, within its tolerance.

    >>> found = asks(RaceClass(name="Example", rev_limit_rpm=14_600, timing_fixed=True))
    >>> found["rev_limit"].most, found["timing"].most, "mass" in found
    (14600.0, 0.0, False)
    """
    if race_class is None:
        return {}
    found = {
        limit.name.casefold(): Asked(least=limit.exactly, most=limit.exactly)
        if limit.exactly is not None
        else Asked(least=limit.least, most=limit.most)
        for limit in race_class.limits
    }
    if race_class.rev_limit_rpm is not None:
        found["rev_limit"] = Asked(most=race_class.rev_limit_rpm)
    if race_class.timing_fixed:
        found["timing"] = Asked(least=0, most=0)
        if race_class.timing_deg is not None:
            slack = race_class.timing_tolerance_deg or 0
            found["motor_timing"] = Asked(
                least=race_class.timing_deg - slack, most=race_class.timing_deg + slack
            )
    if race_class.least_mass_g is not None:
        found["mass"] = Asked(least=race_class.least_mass_g)
    if race_class.most_start_v is not None:
        found["start_v"] = Asked(most=race_class.most_start_v)
    if race_class.most_capacity_mah is not None:
        found["capacity"] = Asked(most=race_class.most_capacity_mah)
    if race_class.least_ride_height_mm is not None:
        found["ride_height"] = Asked(least=race_class.least_ride_height_mm)
    return found

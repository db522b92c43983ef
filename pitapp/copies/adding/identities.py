"""By what a row is known in another database; in the order in which the rows are compared."""

from __future__ import annotations

from typing import NamedTuple


class Kind(NamedTuple):
    """A table whose rows are known by these columns, and the words for one row and for several.

    A column that names a row of another table counts by that row's identity. Kinds without words
    are not counted by themselves: they belong to another. Where `alone` is not empty in a row, that
    column suffices.
    """

    columns: tuple[str, ...]
    singular: str = ""
    plural: str = ""
    alone: str = ""


WHAT_WAS_DONE = {
    "runs": Kind(("uuid",), "run", "runs"),
    "gear_fits": Kind(("car_id", "fitted_at"), "gear fitted", "gears fitted"),
    "pack_readings": Kind(("pack_id", "read_at"), "reading of a pack", "readings of packs"),
    "pack_charges": Kind(("uuid",), "charge", "charges"),
    "pack_storages": Kind(("pack_id", "stored_at"), "pack put to storage", "packs put to storage"),
    "motor_checks": Kind(("motor_id", "checked_at"), "motor check", "motor checks"),
    "rev_checks": Kind(("car_id", "checked_at"), "rev check", "rev checks"),
    "tilt_tests": Kind(("car_id", "tested_at"), "tilt test", "tilt tests"),
    "meeting_results": Kind(("meeting_id", "season_id"), "result", "results"),
    "photographs": Kind(("run_id", "car_id", "added_at"), "photograph", "photographs"),
    "check_walks": Kind(("uuid",), "run-through", "run-throughs"),
    "corner_weighings": Kind(("car_id", "weighed_at"), "corner weighing", "corner weighings"),
    "sound_comparisons": Kind(("compared_at",), "comparison by ear", "comparisons by ear"),
}
WHAT_IS_OWNED = {
    "cars": Kind(("name",), "car", "cars"),
    "motors": Kind(("name",), "motor", "motors"),
    "controllers": Kind(("name",), "controller", "controllers"),
    "controller_profiles": Kind(
        ("controller_id", "name"), "controller's profile", "controllers' profiles"
    ),
    "packs": Kind(("mark",), "pack", "packs"),
    "chargers": Kind(("name",), "charger", "chargers"),
    "tyre_sets": Kind(("name",), "tyre set", "tyre sets"),
    "gears": Kind(("kind", "pitch", "teeth"), "pinion or spur", "pinions and spurs"),
    "worn_parts": Kind(
        ("car_id", "motor_id", "name", "since"), "part with hours", "parts with hours"
    ),
    "tracks": Kind(("name",), "track", "tracks"),
    "race_classes": Kind(("name",), "class", "classes"),
    "meetings": Kind(("day", "name"), "meeting", "meetings"),
    "point_tables": Kind(("name",), "table of points", "tables of points"),
    "seasons": Kind(("name",), "season", "seasons"),
    "heats": Kind(("meeting_id", "kind", "number"), "heat", "heats"),
    "checklists": Kind(("name",), "checklist", "checklists", alone="controller_id"),
}
PARTS = {
    "run_setups": Kind(("digest",)),
    "check_steps": Kind(("checklist_id", "group_name", "name")),
}
KINDS = WHAT_IS_OWNED | WHAT_WAS_DONE | PARTS
COUNTED = WHAT_WAS_DONE | WHAT_IS_OWNED

BELONGS_TO = {
    "car_controllers": ("car_id",),
    "car_fitted": ("car_id",),
    "car_packs": ("car_id",),
    "car_setup": ("car_id",),
    "check_answers": ("walk_id",),
    "check_steps": ("checklist_id",),
    "class_limits": ("race_class_id",),
    "leads": ("car_id",),
    "pack_charge_answers": ("charge_id",),
    "parked_cars": ("car_id",),
    "profile_plans": ("profile_id",),
    "track_feels": ("track_id",),
    "track_straights": ("track_id",),
    "weighed_parts": ("car_id",),
}
"""Tables whose rows come along with the row that they belong to, when that is added."""

UNDER_ITS_NUMBER = {"photograph_data": "photographs"}
"""Tables that keep something under the number of the row of another, and come along with it."""

ONLY_THERE = {("controller_profiles", "chosen"): 0, ("pack_charges", "pack_version"): None}
"""Columns that mean something in the database they are from alone, and what stands there instead.

Which profile is chosen is known where the controller is; and a charge from elsewhere is never
offered as the last time's, since the pack's record here is not the one that it was started by.
"""

STAY = {
    "charge_plans": "a plan is worked out anew from what is on record",
    "forecast_inputs": "the racer's own figures for the forecast stay as they are here",
    "settings": "settings stay as they are here",
}
"""Tables of which nothing is added, and why."""

NUMBERS_IN = {
    ("runs", "snapshot"): {
        "car": "cars",
        "motor": "motors",
        "pack": "packs",
        "tyres": "tyre_sets",
        "controller": "controllers",
    }
}
"""Columns of JSON in which a row of another table stands as `{"id": …}` under a key."""


def listed(amounts: list[tuple[int, str, str]]) -> str:
    """A few amounts in words; those of nothing are left out.

    >>> listed([(3, "run", "runs"), (0, "car", "cars"), (1, "charge", "charges")])
    '3 runs and 1 charge'
    """
    words = [
        f"{many} {singular if many == 1 else plural}" for many, singular, plural in amounts if many
    ]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)

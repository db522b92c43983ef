"""Whether what a write is about was removed, by the names that addresses give to rows."""

from __future__ import annotations

import sqlite3

_CALLED = {
    "car_id": ("cars", "name"),
    "motor_id": ("motors", "name"),
    "controller_id": ("controllers", "name"),
    "profile_id": ("controller_profiles", "'This profile'"),
    "pack_id": ("packs", "'Pack ' || mark"),
    "charger_id": ("chargers", "name"),
    "set_id": ("tyre_sets", "name"),
    "entry_id": ("car_setup", "name"),
    "checklist_id": ("checklists", "name"),
    "step_id": ("check_steps", "name"),
    "track_id": ("tracks", "name"),
    "class_id": ("race_classes", "name"),
    "lead_id": ("leads", "name"),
    "part_id": ("weighed_parts", "name"),
    "worn_id": ("worn_parts", "name"),
    "season_id": ("seasons", "name"),
    "table_id": ("point_tables", "name"),
    "meeting_id": ("meetings", "coalesce(nullif(name, ''), 'This meeting')"),
    "photograph_id": ("photographs", "'This photograph'"),
    "run_id": ("runs", "'This run'"),
    "fit_id": ("gear_fits", "'This entry'"),
    "test_id": ("tilt_tests", "'This tilt test'"),
    "check_id": ("motor_checks", "'This check'"),
    "comparison_id": ("sound_comparisons", "'This comparison'"),
    "rev_check_id": ("rev_checks", "'This check'"),
    "reading_id": ("pack_readings", "'This reading'"),
    "weighing_id": ("corner_weighings", "'This weighing'"),
}
_QUERIES = {
    argument: f"SELECT {name} FROM {table} WHERE id = ? AND removed_at IS NOT NULL"  # noqa: S608
    for argument, (table, name) in _CALLED.items()
} | {
    "heat_id": "SELECT 'This heat' FROM heats JOIN meetings ON meetings.id = heats.meeting_id "
    "WHERE heats.id = ? AND (heats.removed_at IS NOT NULL OR meetings.removed_at IS NOT NULL)"
}


def removed_name(connection: sqlite3.Connection, argument: str, row_id: int) -> str | None:
    """What the row is called that an address names as `argument`, if it was removed; else None."""
    query = _QUERIES.get(argument)
    row = connection.execute(query, (row_id,)).fetchone() if query else None
    return None if row is None else str(row[0]) or "This"

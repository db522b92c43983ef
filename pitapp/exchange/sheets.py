"""The sheets for a spreadsheet: runs, gears, set-ups and kit."""

from __future__ import annotations

import io
import json
import sqlite3
import zipfile
from collections.abc import Callable, Iterator, Sequence
from datetime import tzinfo
from functools import lru_cache
from typing import Any, NamedTuple

from pitapp.db import from_db
from pitapp.exchange import cells, store
from pitapp.exchange.cells import Block, Cell
from pitapp.gearing.formulas import final_drive_ratio, rollout_mm
from pitapp.runs.formulas import unpacked_laps
from pitapp.runs.models import Setting
from pitapp.web.clock import zone

Rows = Iterator[Sequence[Cell] | Block]
LOCAL = "%Y-%m-%d %H:%M:%S"
RUN_COLUMNS = {
    "pinion": "pinion_teeth",
    "spur": "spur_teeth",
    "internal ratio": "internal_ratio",
    "tyre mm": "tyre_diameter_mm",
    "can °C": "can_c",
    "read after s": "read_after_s",
    "second can °C": "second_can_c",
    "second read after s": "second_after_s",
    "air °C": "air_c",
    "track °C": "track_c",
    "grip": "grip",
    "wind": "wind",
    "dust": "dust",
    "wet": "wet",
    "best lap s": "best_lap_s",
    "laps": "laps",
    "run s": "run_s",
    "top speed km/h": "top_speed_kmh",
    "top speed ± km/h": "top_speed_spread_kmh",
    "position": "position",
    "remarks": "remarks",
}
RUN_NAMES = ("car", "track", "class", "motor", "pack", "tyres")
LAPS = "lap times s"
RUN_HEADINGS = (
    "started", "time zone", "started UTC", "meeting", "heat", *RUN_NAMES,
    *RUN_COLUMNS, LAPS, "FDR", "rollout mm", "key",
)  # fmt: skip


class Sheet(NamedTuple):
    """A sheet that can be saved: its file name, its title, what it holds, and how it is made."""

    name: str
    title: str
    what: str
    make: Callable[[sqlite3.Connection, tzinfo], tuple[Sequence[str], Rows]]


def runs(connection: sqlite3.Connection, home: tzinfo) -> tuple[Sequence[str], Rows]:
    """The runs, oldest first, by the wall clock of each track and in UTC."""
    return RUN_HEADINGS, (_run(row, home) for row in store.logged_runs(connection))


def setups_by_run(connection: sqlite3.Connection, home: tzinfo) -> tuple[Sequence[str], Rows]:
    """The set-up that each run had, a line for each value."""

    def lines() -> Rows:
        for row in store.setups_by_run(connection):
            texts = _set_up(row["body"])
            if texts:
                yield Block((_local(row, home), row["car"]), texts, (row["uuid"],))

    return ("started", "car", "group", "name", "value", "unit", "key of the run"), lines()


@lru_cache(64)
def _set_up(body: str) -> tuple[tuple[str, ...], ...]:
    """Group, name, value and unit of each entry; runs that follow each other mostly share one."""
    return tuple(
        _setting_cells(*setting)
        if isinstance(setting, list)
        else _cells_of_setting(Setting.model_validate(setting))
        for setting in json.loads(body).get("setup", ())
    )


@lru_cache(8192)
def _setting_cells(*packed: str) -> tuple[str, ...]:
    return _cells_of_setting(Setting.model_validate(list(packed)))


def _cells_of_setting(entry: Setting) -> tuple[str, ...]:
    return entry.group, entry.name, entry.value, entry.unit


def _table(name: str) -> Callable[[sqlite3.Connection, tzinfo], tuple[Sequence[str], Rows]]:
    def make(connection: sqlite3.Connection, home: tzinfo) -> tuple[Sequence[str], Rows]:
        headings, lines = store.sheet(connection, name)
        return headings, iter(lines)

    return make


SHEETS = (
    Sheet("runs", "Runs", "Every run, with its gear, temperatures and laps", runs),
    Sheet("gear-fits", "Gears fitted", "The gear log of every car", _table("gear_fits")),
    Sheet("gear-box", "Gear box", "Pinions and spurs", _table("gears")),
    Sheet("set-ups", "Set-ups", "Each car's set-up as it is now", _table("car_setup")),
    Sheet("set-ups-by-run", "Set-ups by run", "What each run was set up with", setups_by_run),
    Sheet("cars", "Cars", "With their gear trains", _table("cars")),
    Sheet("motors", "Motors", "With Kv, resistance and weight", _table("motors")),
    Sheet("packs", "Packs", "With cells and capacity", _table("packs")),
    Sheet("tyre-sets", "Tyre sets", "With diameter and treatment", _table("tyre_sets")),
)
BY_NAME = {sheet.name: sheet for sheet in SHEETS}


def text(connection: sqlite3.Connection, sheet: Sheet, home: tzinfo, *, comma: bool) -> str:
    """The sheet as CSV."""
    headings, rows = sheet.make(connection, home)
    return cells.sheet(headings, rows, comma=comma)


def empty_runs(*, comma: bool) -> str:
    """A sheet of runs with its headings alone, to be filled in."""
    return cells.sheet(RUN_HEADINGS, (), comma=comma)


def archive(connection: sqlite3.Connection, home: tzinfo, *, comma: bool) -> bytes:
    """All the sheets above, and every other table as one, in a zip file."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for sheet in SHEETS:
            packed.writestr(f"{sheet.name}.csv", text(connection, sheet, home, comma=comma))
        for table in store.tables(connection):
            if table == store.PICTURES:
                continue
            headings, lines = store.sheet(connection, table)
            packed.writestr(f"tables/{table}.csv", cells.sheet(headings, lines, comma=comma))
    return out.getvalue()


def _local(row: dict[str, Any], home: tzinfo) -> str:
    there = zone(row["time_zone"]) if row["time_zone"] else home
    return from_db(row["started_at"]).astimezone(there).strftime(LOCAL)


def _laps(column: str | None) -> str:
    """A run's laps in s in one cell; no comma, which a spreadsheet may take for its own."""
    return " ".join(f"{lap:.3f}" for lap in unpacked_laps(column)) if column else ""


def _run(row: dict[str, Any], home: tzinfo) -> Sequence[Cell]:
    ratio = rollout = None
    if row["pinion_teeth"] and row["spur_teeth"] and row["internal_ratio"]:
        ratio = final_drive_ratio(row["spur_teeth"], row["pinion_teeth"], row["internal_ratio"])
        if row["tyre_diameter_mm"]:
            rollout = rollout_mm(row["tyre_diameter_mm"], ratio)
    heat = f"{row['heat_kind']} {row['heat_number']}" if row["heat_kind"] else ""
    return [
        _local(row, home),
        row["time_zone"],
        row["started_at"],
        row["meeting_name"] or row["meeting_day"],
        heat,
        *(row[name] for name in RUN_NAMES),
        *(row[column] for column in RUN_COLUMNS.values()),
        _laps(row["lap_times"]),
        ratio,
        rollout,
        row["uuid"],
    ]

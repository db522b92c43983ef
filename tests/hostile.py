"""Copies with one impossible cell, and every page of the app to see what becomes of it."""

from __future__ import annotations

import json
import random
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any, NamedTuple

from flask import Flask

from pitapp.exchange.sheets import BY_NAME as SHEETS
from tests.packs_walk import begin
from tests.packs_walk import walk as walk_charge
from tests.support import PageClient

HERE_ONLY = {"devices", "identities", "pairing_codes", "wrong_guesses", "undo_steps"}
"""Tables that no copy fills."""
UUID = "0b2b5d0e-3c60-4f0c-9a2e-6c1f2f6f1a11"
BROKEN_UTF8 = b"\xff\xfe\x80"
NUMBERS: tuple[Any, ...] = (
    0, -1, 1, 2, 7, -0.5, 0.001, 1e-300, 25, 99, 1000, 99999, 2**31, 2**53, 2**63 - 1, -(2**63),
    1e9, 1e15, 1e300, 1e308, -1e308, float("inf"), float("-inf"), None,
)  # fmt: skip
TEXTS: tuple[Any, ...] = (
    "", " ", "x", "0", "-1", "1e308", "nan", "NaN", "inf", "9" * 400, "true", "null", "[[[", "[]", "{}",
    "[" * 100_000, '{"a": 1}', "[1]", "[null]", "[NaN]", "[1e999]", '[{"x": []}]', '"x"', "a\x00b", "\x00",
    "\x1b[31m", "\r\n\t", "\u202e\u0007", "\u2028", "<b>&'\"", "{{7*7}}", "%s%n", "../../etc/passwd",
    "🏎" * 40, "y" * 3000, "z" * 200_000, "w" * 3_000_000, BROKEN_UTF8, None,
)  # fmt: skip
MOMENTS: tuple[Any, ...] = (
    "2026-09-12T11:03:00Z", "2000-01-01T00:00:00Z", "2199-12-31T23:59:59Z", "0001-01-01T00:00:00Z",
    "0026-05-03T09:30:00Z", "9999-12-31T23:59:59Z", "2026-02-30T09:30:00Z", "2026-05-03T24:00:00Z",
    "2026-05-03T09:30:00", "2026-05-03T09:30:00+14:00", "2026-05-03 09:30:00Z", "2026-05-03T09:30Z",
    "2026-05-03T09:30:00.5Z", "2026-05-03", "20260503T093000Z", "2026-W18-7T09:30:00Z", "1e308", "now",
    "2026-05-03T09:30:00z", "+02026-05-03T09:30:00Z", "२०२६-05-03T09:30:00Z",
)  # fmt: skip
DAYS: tuple[Any, ...] = (
    "2026-09-12", "2000-01-01", "2200-12-31", "0001-01-01", "9999-12-31", "2026-02-30", "2026-13-01",
    "20260912", "2026-W37-6", "2026-09-12T00:00:00Z", "12.9.2026", "0026-09-12",
)  # fmt: skip
ENUMS: tuple[Any, ...] = (
    "heat",
    "PINION",
    "full",
    "dp:64",
    "dp:0",
    "mod:0.4",
    "mm:1e308",
    "UTC",
    "Moon/Base",
)
DAY_COLUMNS = ("day", "bought_on")


class Cell(NamedTuple):
    """A cell of a copy and what is to stand in it."""

    table: str
    column: str
    row: int
    """Which of the table's rows: a share of them in thousandths."""
    value: Any

    def __str__(self) -> str:
        shown = repr(self.value)
        shown = shown if len(shown) < 60 else f"{shown[:40]}… ({len(shown)})"
        return f"{self.table}.{self.column} of row {self.row} ‰ = {shown}"


def furnish(app: Flask) -> None:
    """Add to the demo what it leaves empty, by the app's own pages, so that no table is without a row."""
    client: PageClient = app.test_client()  # type: ignore[assignment]
    db: sqlite3.Connection = app.extensions["pitapp.db"].connection()

    def post(path: str, data: dict[str, Any] | None = None, **more: Any) -> None:
        answer = client.post_form(path, data, **more)
        assert answer.status_code in (200, 303), (path, answer.status_code, answer.text)

    post(
        "/kit/gears",
        {"kind": "pinion", "teeth": "20", "pitch": "dp:64"},
        headers={"Idempotency-Key": UUID},
    )
    page = client.get("/checks/lists/2/run", follow_redirects=True)
    (uuid, step) = re.findall(r'action="/checks/walks/([0-9a-f-]{36})/steps/(\d+)"', page.text)[0]
    post(f"/checks/walks/{uuid}/steps/{step}", {"shown": "1350"})
    post("/roll", {"drag_brake_percent": "12", "slope_deg": "2"})
    post("/forecast/figures/grip", {"value": "1.5", "measured": "yes"})
    post("/forecast/feel", {"longest": "45", "corners": "tight", "track": "0"})
    post("/packs/plan/settings", {
        "along": ["1", "2"], "outputs": "2", "amps_per_output": "12", "watts_per_output": "200",
        "name": "Invented charger", "used_mah": "3000", "most_full_min": "60", "cooling_min": "10",
        "watched": "no",
    })  # fmt: skip
    post("/packs/plan/make")
    walk_charge(db, 1)
    assert begin(client, 1)


def picks(source: Path, seed: int) -> Iterator[Cell]:
    """Cells with values to plant, without end: a column at random, then one of its values."""
    chance = random.Random(seed)
    with closing(sqlite3.connect(source)) as connection:
        known = {place: list(_values(connection, *place)) for place in columns(connection)}
    places = sorted(known)
    while True:
        table, column, kind = chance.choice(places)
        value = chance.choice(known[table, column, kind])
        yield Cell(table, column, chance.randrange(1000), value)


def columns(connection: sqlite3.Connection) -> list[tuple[str, str, str]]:
    """Every column of every table that a copy fills: table, name and kind."""
    named = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    ).fetchall()
    return [
        (table, row[1], row[2])
        for (table,) in named
        if table not in HERE_ONLY
        for row in connection.execute(f"PRAGMA table_info({table})").fetchall()
    ]


def _values(connection: sqlite3.Connection, table: str, column: str, kind: str) -> Iterator[Any]:
    """What is worth trying in a column; half of it is of the column's own kind."""
    if kind in ("INTEGER", "REAL"):
        yield from NUMBERS
        return
    if kind == "BLOB":
        yield from (b"", b"x" * 3000, b"\xff")
        return
    if column.endswith("_at") or column == "since":
        yield from MOMENTS
    if column in DAY_COLUMNS:
        yield from DAYS
    yield from TEXTS
    yield from ENUMS
    present = connection.execute(
        f"SELECT DISTINCT {column} FROM {table} WHERE {column} > '' ORDER BY 1 LIMIT 3"
    ).fetchall()
    for (text,) in present:
        yield text
        if text[:1] in ("[", "{"):
            yield from _bent(json.loads(text))


LEAVES: tuple[Any, ...] = (
    None, True, -1, 0, 1e308, 10**400, "", "x", "z" * 3000, [], {}, [[]], float("nan"),
)  # fmt: skip


def _bent(whole: Any) -> Iterator[str]:
    """The same document with one leaf replaced, taken away, or doubled."""
    for place in list(_places(whole)):
        for leaf in LEAVES:
            copy = json.loads(json.dumps(whole))
            holder = copy
            for key in place[:-1]:
                holder = holder[key]
            holder[place[-1]] = leaf
            yield json.dumps(copy)
        copy = json.loads(json.dumps(whole))
        holder = copy
        for key in place[:-1]:
            holder = holder[key]
        if isinstance(holder, dict):
            del holder[place[-1]]
        else:
            holder.append(holder[place[-1]])
        yield json.dumps(copy)


def _places(whole: Any, above: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    inside = whole.items() if isinstance(whole, dict) else enumerate(whole)
    for index, (key, value) in enumerate(inside):
        if index < 2 or isinstance(whole, dict):
            yield (*above, key)
            if isinstance(value, dict | list):
                yield from _places(value, (*above, key))


class Change(NamedTuple):
    """A change of many rows at once."""

    name: str
    statements: tuple[str, ...]

    def __str__(self) -> str:
        return self.name


def changes(source: Path) -> list[Change]:
    """Tables emptied, doubled and removed, and columns set to one value throughout."""
    with closing(sqlite3.connect(source)) as connection:
        listed = columns(connection)
    by_table: dict[str, list[str]] = {}
    for table, column, _ in listed:
        by_table.setdefault(table, []).append(column)
    doubled = {table: _doubled(table, names) for table, names in by_table.items() if "id" in names}
    emptied = {table: f"DELETE FROM {table}" for table in by_table}
    removed = {
        table: f"UPDATE {table} SET removed_at = '2026-01-01T00:00:00Z'"
        for table, names in by_table.items()
        if "removed_at" in names
    }
    found = [Change("all emptied", tuple(emptied.values()))]
    found += [Change(f"{table} emptied", (emptied[table],)) for table in emptied]
    found += [Change("all doubled", tuple(doubled.values()))]
    found += [Change(f"{table} doubled", (doubled[table],)) for table in doubled]
    found += [Change("all removed", tuple(removed.values()))]
    found += [Change(f"{table} removed", (removed[table],)) for table in removed]
    for table, column, _ in listed:
        for value in _throughout(column):
            statement = f"UPDATE OR IGNORE {table} SET {column} = {value}"
            found.append(Change(f"{table}.{column} = {value}", (statement,)))
    return found


def _doubled(table: str, names: list[str]) -> str:
    again = {
        "id": "id + 1000",
        "uuid": "lower(hex(randomblob(4))) || '-0000-4000-8000-' || lower(hex(randomblob(6)))",
    }
    chosen = ", ".join(again.get(name, name) for name in names)
    return f"INSERT OR IGNORE INTO {table} SELECT {chosen} FROM {table}"


def _throughout(column: str) -> tuple[str, ...]:
    if column.endswith("_at") or column == "since":
        return "'2000-01-01T00:00:00Z'", "'2200-12-31T23:59:59Z'", "NULL"
    if column in DAY_COLUMNS:
        return "'2000-01-01'", "'2200-12-31'"
    return ("1", "NULL") if column.endswith("_id") else ()


def change(path: Path, chosen: Change) -> None:
    """Carry a change out in a copy, whatever it breaks."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        for statement in chosen.statements:
            with suppress(sqlite3.IntegrityError):
                connection.execute(statement)


def plant(path: Path, cell: Cell) -> bool:
    """Put the value there, past the rules that a stranger can pass by; whether that changed anything."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.text_factory = bytes
        connection.execute("PRAGMA foreign_keys = OFF")
        connection.execute("PRAGMA ignore_check_constraints = ON")
        kinds = connection.execute(f"PRAGMA table_info({cell.table})").fetchall()
        first = kinds[0][1].decode()
        kind = {row[1].decode(): row[2] for row in kinds}[cell.column]
        keys = connection.execute(f"SELECT {first} FROM {cell.table} ORDER BY 1").fetchall()
        (key,) = keys[cell.row * len(keys) // 1000]
        put = "CAST(? AS TEXT)" if kind == b"TEXT" and isinstance(cell.value, bytes) else "?"
        before = connection.total_changes
        try:
            connection.execute(
                f"UPDATE {cell.table} SET {cell.column} = {put} "
                f"WHERE {first} = ? AND {cell.column} IS NOT {put}",
                (cell.value, key if isinstance(key, int) else key.decode(), cell.value),
            )
        except (sqlite3.IntegrityError, sqlite3.OperationalError, OverflowError):
            return False
        return connection.total_changes > before


OF = {
    "car_id": "cars", "charger_id": "chargers", "check_id": "motor_checks",
    "checklist_id": "checklists", "rev_check_id": "rev_checks",
    "class_id": "race_classes", "comparison_id": "sound_comparisons",
    "controller_id": "controllers", "entry_id": "car_setup",
    "heat_id": "heats", "lead_id": "leads", "meeting_id": "meetings", "motor_id": "motors",
    "profile_id": "controller_profiles",
    "pack_id": "packs", "part_id": "weighed_parts", "run_id": "runs", "set_id": "tyre_sets",
    "step_id": "check_steps", "track_id": "tracks", "weighing_id": "corner_weighings",
    "worn_id": "worn_parts", "season_id": "seasons", "table_id": "point_tables",
    "photograph_id": "photographs",
}  # fmt: skip
NAMED = {
    "/forecast/figures/<name>": ["grip", "can_limit_c", "pack_resistance_mohm"],
    "/exchange/sheets/<name>.csv": list(SHEETS),
    "/forecast/figures/measure/<kind>": ["coast-down", "start", "stop"],
}
APART = {
    "static", "exchange.schema", "offline.files", "offline.script", "copies.download", "copies.look",
    "devices.authority", "devices.look",
}  # fmt: skip
"""Addresses that no row is read for."""
ARGUMENT = re.compile(r"<(?:\w+:)?(\w+)>")


def pages(app: Flask) -> list[str]:
    """The address of every page, for the first and the last row of each table as it is now."""
    db: sqlite3.Connection = app.extensions["pitapp.db"].connection()
    found: list[str] = []
    for rule in sorted(app.url_map.iter_rules(), key=str):
        if "GET" not in (rule.methods or ()) or rule.endpoint in APART:
            continue
        names = ARGUMENT.findall(rule.rule)
        for values in _arguments(db, rule.rule, names):
            given = iter(values)
            found.append(ARGUMENT.sub(lambda _: str(next(given)), rule.rule))  # noqa: B023
    return found


def _arguments(db: sqlite3.Connection, rule: str, names: list[str]) -> list[tuple[Any, ...]]:
    if not names:
        return [()]
    if rule in NAMED:
        return [(name,) for name in NAMED[rule]]
    if "key" in names:
        query = (
            "SELECT pack_id, uuid, step FROM pack_charges JOIN pack_charge_answers "
            "ON charge_id = pack_charges.id ORDER BY pack_charge_answers.id"
        )
    elif "step_id" in names and "uuid" in names:
        query = (
            "SELECT uuid, step_id FROM check_walks JOIN check_answers ON walk_id = check_walks.id"
        )
    elif names == ["controller_id", "profile_id"]:
        query = "SELECT controller_id, id FROM controller_profiles ORDER BY id"
    elif names == ["pack_id", "uuid"]:
        query = "SELECT pack_id, uuid FROM pack_charges ORDER BY id"
    elif names == ["uuid"]:
        query = (
            f"SELECT uuid FROM {'check_walks' if 'walks' in rule else 'pack_charges'} ORDER BY id"
        )
    else:
        query = f"SELECT id FROM {OF[names[0]]} ORDER BY id"
    found = [tuple(row) for row in db.execute(query)]
    return list(dict.fromkeys([*found[:1], *found[-1:]]))

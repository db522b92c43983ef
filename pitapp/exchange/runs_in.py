"""Runs from a spreadsheet: looked at line by line, and taken only when the racer agrees."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from hashlib import blake2b
from typing import NamedTuple
from uuid import UUID

from pydantic import ValidationError

from pitapp.db import undo
from pitapp.exchange import store
from pitapp.exchange.cells import unsafe
from pitapp.exchange.run_start import read_start
from pitapp.exchange.sheets import LAPS, RUN_COLUMNS, RUN_HEADINGS, RUN_NAMES
from pitapp.exchange.table import Table, tidy
from pitapp.kit import store as kit
from pitapp.meetings import store as meetings
from pitapp.packs import store as packs
from pitapp.runs import store as runs
from pitapp.runs.conditions import WORDS as CONDITIONS
from pitapp.runs.formulas import packed_laps, parse_time_s, unpacked_laps
from pitapp.runs.laps import store as laps
from pitapp.runs.models import FittedCar, Run, Snapshot
from pitapp.runs.snapshot import snapshot
from pitapp.runs.tyres import store as tyres
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track
from pitapp.web.forms.fields import parse_number
from pitapp.web.forms.form_errors import in_words

TIMES = ("best lap s", "run s")
TEXTS = ("remarks",)
WORDED = tuple(CONDITIONS)
MOST_CELL = 12_000
WORDS = {"class": "class", "motor": "motor", "pack": "pack", "tyres": "tyre set"}
COLUMN_OF = {column: heading for heading, column in RUN_COLUMNS.items()}


@dataclass
class Line:
    """A line of the file: the run in it, or what is wrong; `track` is one that is not known yet."""

    number: int
    run: Run | None = None
    faults: list[str] = field(default_factory=list)
    track: str = ""
    on_record: bool = False
    laps_s: tuple[float, ...] = ()


SENSIBLE = (-300, 900)
"""Between these lies every number of a run that is no time: degrees, mm, teeth, seconds, a ratio."""


class Look(NamedTuple):
    """Contents of a file of runs: its lines and its errors."""

    lines: list[Line]
    ignored: list[str]

    @property
    def good(self) -> list[Line]:
        """The lines that can be taken."""
        return [line for line in self.lines if line.run and not line.faults and not line.on_record]

    @property
    def bad(self) -> list[Line]:
        """The lines that cannot."""
        return [line for line in self.lines if line.faults]

    @property
    def on_record(self) -> int:
        """How many lines are on record already."""
        return sum(line.on_record for line in self.lines)

    @property
    def new_tracks(self) -> list[str]:
        """Tracks that are not known yet, as the first line has them."""
        names = {line.track.casefold(): line.track for line in reversed(self.good) if line.track}
        return list(reversed(names.values()))


def look(connection: sqlite3.Connection, data: bytes, home: tzinfo) -> Look:
    """Read a file of runs without taking any of it.

    Raises:
        Refused: it cannot be read as a sheet of runs at all; the sentence says why.
    """
    table = Table.read(data, needed=("started",))
    reader = _Reader(connection, home)
    lines = [reader.line(number, cells) for number, cells in table.lines]
    return Look(lines, [name for name in table.headings if name and name not in _KNOWN])


def take(connection: sqlite3.Connection, preview: Look, now: datetime) -> tuple[int, str]:
    """Log the good lines, with the tracks that they need; returns how many, and the undo token."""
    good = preview.good
    with undo.step(connection, f"Added {len(good)} runs from a file", now) as step:
        made: dict[str, int] = {}
        for name in preview.new_tracks:
            made[name.casefold()], _ = tracks.save_track(connection, Track(name=name), now, step)
        for line in good:
            if line.run is None:
                continue
            track_id = made.get(line.track.casefold(), line.run.track_id)
            run = line.run.model_copy(update={"track_id": track_id})
            fitted = snapshot(connection, run).model_copy(update={"setup": (), "controller": None})
            run = run.model_copy(update={"snapshot": fitted})
            run_id, _ = runs.save_run(connection, run, now, step)
            if line.laps_s:
                laps.add_laps(connection, step, run_id, line.laps_s)
    return len(good), step.token


class _Reader:
    """Makes runs of lines, with the names of what is on record."""

    def __init__(self, connection: sqlite3.Connection, home: tzinfo) -> None:
        self.home = home
        self.cars = {car.name.casefold(): car for car in kit.cars(connection)}
        self.tracks = {each.name.casefold(): each.id for each in tracks.tracks(connection)}
        self.others = {
            "class": {each.name.casefold(): each.id for each in meetings.race_classes(connection)},
            "motor": {each.name.casefold(): each.id for each in kit.motors(connection)},
            "pack": {each.mark.casefold(): each.id for each in packs.packs(connection)},
            "tyres": {each.name.casefold(): each.id for each in tyres.tyre_sets(connection)},
        }
        self.known = store.known_uuids(connection)
        self.seen: dict[str, int] = {}

    def line(self, number: int, cells: Mapping[str, str]) -> Line:
        line = Line(number)
        values: dict[str, object] = {}
        texts = {name: unsafe(cell.strip()) for name, cell in cells.items()}
        self._names(line, texts, values)
        for heading, column in RUN_COLUMNS.items():
            text = texts.get(tidy(heading), "")
            if not text:
                continue
            try:
                values[column] = (
                    text
                    if heading in TEXTS
                    else text.lower()
                    if heading in WORDED
                    else parse_time_s(text[:60])
                    if heading in TIMES
                    else parse_number(text, SENSIBLE)
                )
            except ValueError as error:
                line.faults.append(f"{heading}: {error}")
        try:
            line.laps_s = _laps(texts.get(LAPS, ""))
        except ValueError as error:
            line.faults.append(f"{LAPS}: {error}")
        try:
            values["started_at"], values["time_zone"] = read_start(
                texts.get("started", ""),
                texts.get("time zone", ""),
                texts.get("started utc", ""),
                self.home,
            )
        except ValueError as error:
            line.faults.append(str(error))
        if not line.faults:
            self._run(line, texts, values)
        return line

    def _names(self, line: Line, texts: Mapping[str, str], values: dict[str, object]) -> None:
        name = texts.get("car", "")
        car = self.cars.get(name.casefold())
        if not name and len(self.cars) == 1:
            car = next(iter(self.cars.values()))
        if car is None:
            said = f"There is no car called {name[:60]}." if name else "Which car?"
            line.faults.append(f"car: {said} Add it under Kit, or use its name there.")
        else:
            values["car_id"] = car.id
            values["snapshot"] = Snapshot(car=FittedCar(id=car.id, name=car.name))
        for heading, word in WORDS.items():
            if not (text := texts.get(heading, "")):
                continue
            row_id = self.others[heading].get(text.casefold())
            if row_id is None:
                line.faults.append(
                    f"{heading}: There is no {word} called {text[:60]}. Add it first."
                )
            column = {"class": "race_class_id", "tyres": "tyre_set_id"}.get(
                heading, f"{heading}_id"
            )
            values[column] = row_id
        track = texts.get("track", "")
        values["track_id"] = self.tracks.get(track.casefold()) if track else None
        if track and values["track_id"] is None:
            line.track = track
            if len(track) > 60:
                line.faults.append("track: Keep this under 60 characters.")

    def _run(self, line: Line, texts: Mapping[str, str], values: dict[str, object]) -> None:
        key = texts.get("key", "") or _key(texts)
        try:
            line.run = Run(**(values | {"uuid": UUID(key)}))
        except ValidationError as error:
            for finding in error.errors():
                column = str(finding["loc"][0]) if finding["loc"] else ""
                said = "This is no key that pitapp made." if column == "uuid" else in_words(finding)
                line.faults.append(f"{COLUMN_OF.get(column, column) or 'line'}: {said}")
            return
        except ValueError:
            line.faults.append("key: This is no key that pitapp made. Leave it empty.")
            return
        uuid = str(line.run.uuid)
        if uuid in self.seen:
            line.faults.append(f"This is the same run as in line {self.seen[uuid]}.")
        self.seen.setdefault(uuid, line.number)
        line.on_record = uuid in self.known


def _laps(text: str) -> tuple[float, ...]:
    """The laps of a cell as a sheet of runs has them: times with spaces between."""
    times = tuple(parse_time_s(each[:60]) for each in text[:MOST_CELL].split())
    return unpacked_laps(packed_laps(times)) if times else ()


def _key(texts: Mapping[str, str]) -> str:
    """A key made of the line itself, so that the same line read twice is one run."""
    note = "\n".join(f"{name}={text}" for name, text in sorted(texts.items()) if text)
    return str(UUID(bytes=blake2b(note.encode(), digest_size=16).digest(), version=4))


_KNOWN = {tidy(heading) for heading in (*RUN_HEADINGS, *RUN_NAMES)}

"""Invented things to hand out, and links that nobody should take."""

from __future__ import annotations

import base64
import json
import random
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from pitapp.gearing.answer import Question
from pitapp.handout import link
from pitapp.handout.models import (
    GearSlip,
    HandOut,
    SetUp,
    SetUpEntry,
    Timetable,
    TimetableEntry,
)
from pitapp.meetings.models import ClassLimit, RaceClass
from pitapp.tracks.models import Straight, Track

NINE = datetime(2026, 5, 16, 9, 0, tzinfo=UTC)
CLASS = RaceClass(
    name="Invented Stock",
    rev_limit_rpm=14600,
    timing_fixed=True,
    timing_deg=0,
    winding="13.5 turns",
    least_mass_g=1320,
    most_start_v=8.44,
    tyre="Handout 32",
    least_ride_height_mm=5,
    run_length_s=300,
    limits=(ClassLimit(name="Wing chord", unit="mm", most=40),),
)
TRACK = Track(
    name="Invented Hall",
    surface="carpet",
    lap_length_m=212,
    straights=(Straight(length_m=31, entry_kmh=30, exit_kmh=24),),
)
TIMETABLE = Timetable(
    day=NINE.date(),
    name="Round 3",
    time_zone="Europe/Lisbon",
    entries=tuple(
        TimetableEntry(kind="heat", number=each, starts_at=NINE + timedelta(minutes=40 * each))
        for each in range(1, 5)
    ),
)
SETUP = SetUp(
    car="Invented TC",
    entries=(
        SetUpEntry(group="Front", name="Ride height", value="5.2", unit="mm"),
        SetUpEntry(group="Front", name="Springs", value="soft"),
        SetUpEntry(name="Camber", value="-1.5", unit="°"),
    ),
)
GEAR = GearSlip(car="Invented TC", gear=Question(pinion=45, spur=69, pitch="dp:64", kv=3200))
CLUB = HandOut(race_class=CLASS, track=TRACK, timetable=TIMETABLE)
ALL = {
    "club": CLUB,
    "class": HandOut(race_class=CLASS),
    "track": HandOut(track=TRACK),
    "timetable": HandOut(timetable=TIMETABLE),
    "set-up": HandOut(setup=SETUP),
    "gear": HandOut(gear=GEAR),
}


def written(content: Any, words: bytes = link.WORDS) -> str:
    """Anything at all, packed as a link is."""
    text = content if isinstance(content, bytes) else json.dumps(content).encode()
    packer = zlib.compressobj(9, zdict=words) if words else zlib.compressobj(9)
    body = packer.compress(text) + packer.flush()
    return f"1.{base64.urlsafe_b64encode(body).decode().rstrip('=')}"


def damaged(count: int) -> Iterator[str]:
    """Links with a letter changed, taken out or put in, cut off, turned round, or two in one."""
    rng = random.Random(7)
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    for number in range(count):
        good = link.packed(list(ALL.values())[number % len(ALL)])
        at = rng.randrange(2, len(good))
        changed = rng.choice([letter for letter in letters if letter != good[at]])
        yield (
            good[:at] + changed + good[at + 1 :],
            good[:at] + good[at + 1 :],
            good[:at] + changed + good[at:],
            good[:at],
            f"1.{good[2:][::-1]}",
            good + good[2:],
        )[number // len(ALL) % 6]


def hostile() -> Iterator[str]:
    """Links that are whole, and hold what must not be taken."""
    good = {"name": "Invented Stock"}
    entry = {"kind": "heat", "number": 1, "starts_at": "2026-05-16T09:00:00Z"}
    day = {"day": "2026-05-16", "time_zone": "UTC", "entries": [entry]}
    contents: tuple[Any, ...] = (
        {},
        [],
        None,
        7,
        "text",
        {"race_class": None},
        {"race_class": []},
        {"race_class": {}},
        {"race_class": {"name": ""}},
        {"race_class": {"name": "x" * 61}},
        {"race_class": good, "database": "x"},
        {"race_class": {**good, "id": 1}},
        {"race_class": {**good, "version": 1}},
        {"race_class": {**good, "remarks": "private"}},
        {"race_class": {**good, "removed_at": None}},
        {"race_class": {**good, "rev_limit_rpm": -1}},
        {"race_class": {**good, "rev_limit_rpm": 1e300}},
        {"race_class": {**good, "rev_limit_rpm": "many"}},
        {"race_class": {**good, "timing_fixed": 5}},
        {"race_class": {**good, "limits": [{"id": 3, "name": "Wing", "most": 1}]}},
        {"race_class": {**good, "limits": [{"name": "Wing"}]}},
        {"race_class": {**good, "limits": [{"name": "Wing", "least": 2, "most": 1}]}},
        {"race_class": {**good, "limits": [{"name": f"Wing {n}", "most": 1} for n in range(41)]}},
        {"race_class": {**good, "tyre": "soft\x00"}},
        {"race_class": {**good, "limits": [{"name": "Wing\tchord", "most": 1}]}},
        {"track": {"name": "Hall\u202eXX"}},
        {"track": {"name": "Hall\u2066XX"}},
        {"timetable": {**day, "name": "Round\n3"}},
        {"setup": {"car": "TC", "entries": [{"name": "a", "value": "1\r\n2"}]}},
        {"setup": {"car": "T\ud800C", "entries": [{"name": "a", "value": "1"}]}},
        {"gear": {"car": "T\x1bC", "gear": {"pinion": 40, "spur": 70}}},
        {"track": {"name": "Hall", "id": 4}},
        {
            "track": {
                "name": "Hall",
                "lap_length_m": 10,
                "straights": [{"length_m": 900, "entry_kmh": 1, "exit_kmh": 1}],
            }
        },
        {
            "track": {
                "name": "Hall",
                "straights": [{"length_m": 9, "entry_kmh": 1, "exit_kmh": 1}] * 13,
            }
        },
        {"timetable": {**day, "time_zone": "Mars/Olympus"}},
        {"timetable": {**day, "time_zone": "../../etc/passwd"}},
        {"timetable": {**day, "day": "2026-13-40"}},
        {"timetable": {**day, "day": "9999-01-01"}},
        {"timetable": {**day, "entries": [entry, entry]}},
        {"timetable": {**day, "entries": [{**entry, "starts_at": "2027-01-01T09:00:00Z"}]}},
        {"timetable": {**day, "entries": [{**entry, "starts_at": "09:00"}]}},
        {"timetable": {**day, "entries": [{**entry, "kind": "party"}]}},
        {"timetable": {**day, "entries": [{**entry, "number": 0}]}},
        {"timetable": {**day, "entries": [{**entry, "number": n} for n in range(1, 202)]}},
        {"timetable": {**day, "entries": [{**entry, "meeting_id": 1}]}},
        {"setup": {"car": "TC", "entries": []}},
        {"setup": {"car": "TC", "entries": [{"name": "a", "value": ""}]}},
        {"setup": {"car": "TC", "entries": [{"name": "a", "value": "x" * 61}]}},
        {"setup": {"car": "TC", "entries": [{"name": "a", "value": "1"}] * 201}},
        {"setup": {"car": "TC", "car_id": 1, "entries": [{"name": "a", "value": "1"}]}},
        {"gear": {"gear": {"pinion": 0, "spur": 70}}},
        {"gear": {"gear": {"pinion": 40, "spur": 70, "pitch": "dp:<script>"}}},
        {"gear": {"gear": {"pinion": 40, "spur": 70, "pitch": "dp:999999999"}}},
        {"gear": {"gear": {"pinion": 40.5, "spur": 70}}},
        b'{"race_class": {"name": NaN}}',
        b'{"race_class": {"name": "a", "rev_limit_rpm": 1e999}}',
        b'{"race_class": {"name": "a"}',
        b"\xff\xfe\x00",
        b"",
        b"[" * 90_000,
        b'{"race_class":' * 5_000,
        b"0" * 5_000_000,
    )
    for content in contents:
        yield written(content)
    yield written(CLUB.model_dump(mode="json"), words=b"")
    yield from (
        "1.",
        "2.eNoD",
        "999.AAAA",
        "no link",
        "https://example.com/",
        "#1.",
        "1.====",
        "1.é",
        "\x00",
        " ",
    )
    yield "x" * (link.MOST_CHARACTERS + 1)
    yield f"javascript:alert(1)#{link.packed(CLUB)}#"

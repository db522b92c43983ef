"""What is handed out, in words: the same on the page that gives it and on the one that takes it."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple
from zoneinfo import ZoneInfo

from pitapp.gearing.answer import answer
from pitapp.handout.models import GearSlip, HandOut, SetUp, Timetable
from pitapp.kit.pitch import pitch_label
from pitapp.meetings.models import RaceClass
from pitapp.tracks.models import Track
from pitapp.web.forms.quantities import grouped, quantity, rounded


class Fact(NamedTuple):
    """A line: what it is about, and what is said of it; `kind` sets apart what somebody named."""

    label: str
    text: str
    kind: str = ""


class Section(NamedTuple):
    """One part of what is handed out: its field, what kind of thing it is, its name, and its lines."""

    field: str
    kind: str
    title: str
    facts: tuple[Fact, ...]


class Difference(NamedTuple):
    """A line that is not the same on both sides; empty where a side has none."""

    label: str
    here: str
    there: str


def differences(here: tuple[Fact, ...], there: tuple[Fact, ...]) -> list[Difference]:
    """The lines that are not the same, in the order in which they stand in the link."""
    own, others = _by_place(here), _by_place(there)
    return [
        Difference(place[1], own.get(place, ""), others.get(place, ""))
        for place in dict.fromkeys((*others, *own))
        if own.get(place) != others.get(place)
    ]


def _by_place(lines: tuple[Fact, ...]) -> dict[tuple[str, str, int], str]:
    """Each text by the kind of its line, its label, and which of that label it is."""
    counted: Counter[tuple[str, str]] = Counter()
    placed = {}
    for line in lines:
        counted[line.kind, line.label] += 1
        placed[line.kind, line.label, counted[line.kind, line.label]] = line.text
    return placed


def sections(handed: HandOut) -> list[Section]:
    """Each part of what is handed out, in words."""
    parts = (
        handed.race_class
        and Section("race_class", "Class", handed.race_class.name, of_class(handed.race_class)),
        handed.track and Section("track", "Track", handed.track.name, of_track(handed.track)),
        handed.timetable
        and Section(
            "timetable", "Timetable", handed.timetable.title, of_timetable(handed.timetable)
        ),
        handed.setup and Section("setup", "Set-up", handed.setup.car, of_setup(handed.setup)),
        handed.gear and Section("gear", "Gear", _pair(handed.gear), of_gear(handed.gear)),
    )
    return [part for part in parts if part]


def title(handed: HandOut) -> str:
    """What is handed out, by name."""
    return ", ".join(part.title for part in sections(handed))


def of_class(item: RaceClass) -> tuple[Fact, ...]:
    """The rules of a class, one a line."""
    tolerance = f" ± {grouped(item.timing_tolerance_deg)}°" if item.timing_tolerance_deg else ""
    timing = "fixed" if item.timing_fixed else ""
    if item.timing_deg is not None:
        timing = f"{timing} {grouped(item.timing_deg)}°{tolerance}".strip()
    rules = _said(
        ("Rev limit", _with(item.rev_limit_rpm, "rpm")),
        ("Timing", timing),
        ("Winding", item.winding),
        ("Weight, at least", quantity(item.least_mass_g, "mass") if item.least_mass_g else ""),
        ("Pack, at most", _with(item.most_capacity_mah, "mAh")),
        ("Voltage at the start, at most", _with(item.most_start_v, "V")),
        ("Tyre", item.tyre),
        ("Ride height, at least", _with(item.least_ride_height_mm, "mm")),
        ("Run", _length(item.run_length_s)),
        ("Heats a day", grouped(item.heats_a_day)),
    )
    return (*rules, *(Fact(limit.name, limit.text, "limit") for limit in item.limits))


def of_track(item: Track) -> tuple[Fact, ...]:
    """A track's lap and its straights, one a line."""
    lap = quantity(item.lap_length_m, "track_length") if item.lap_length_m else ""
    straights = (
        (
            f"Straight {number}",
            f"{quantity(each.length_m, 'track_length')}, in at {quantity(each.entry_kmh, 'speed', 0)}, "
            f"corner at {quantity(each.exit_kmh, 'speed', 0)}",
        )
        for number, each in enumerate(item.straights, 1)
    )
    return _said(("Surface", item.surface), ("Lap", lap), *straights)


def of_timetable(item: Timetable) -> tuple[Fact, ...]:
    """A day and its entries by the clock at the track, with the weekday where it is another."""
    zone = ZoneInfo(item.time_zone)
    entries = []
    for each in sorted(item.entries, key=lambda each: each.starts_at):
        start = each.starts_at.astimezone(zone)
        weekday = f"{start:%a} " if start.date() != item.day else ""
        entries.append((each.title, f"{weekday}{start:%H:%M}"))
    return _said(("Day", item.date_text), ("Time zone", item.time_zone), *entries)


def of_setup(item: SetUp) -> tuple[Fact, ...]:
    """The entries of a set-up, one a line."""
    return _said(*((f"{each.group} {each.name}".strip(), each.text) for each in item.entries))


def of_gear(item: GearSlip) -> tuple[Fact, ...]:
    """A gear with what it gives."""
    gear, worked = item.gear, answer(item.gear)
    return _said(
        ("Car", item.car),
        ("FDR", rounded(worked.final_drive_ratio, 2)),
        ("Rollout", f"{rounded(worked.rollout_mm, 1)} mm"),
        ("Internal ratio", grouped(gear.internal)),
        ("Tyre diameter", f"{grouped(gear.tyre)} mm"),
        ("Motor", f"{grouped(gear.kv)} rpm/V" if gear.kv else ""),
        ("Rev limit", _with(gear.rev_limit, "rpm")),
        ("Pitch", pitch_label(gear.pitch) if gear.pitch else ""),
    )


def _pair(item: GearSlip) -> str:
    return f"{item.gear.pinion} / {item.gear.spur}"


def _said(*lines: tuple[str, str]) -> tuple[Fact, ...]:
    return tuple(Fact(label, text) for label, text in lines if text)


def _with(value: float | None, unit: str) -> str:
    return f"{grouped(value)} {unit}" if value is not None else ""


def _length(seconds: float | None) -> str:
    if seconds is None:
        return ""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d} min"

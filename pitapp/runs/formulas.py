"""Lap times, run times and set-up lists as text and read back, and the figures of a run's laps."""

from __future__ import annotations

import re
from typing import NamedTuple

from pitapp.limits import number
from pitapp.runs.changes import Change, changes, in_one_line
from pitapp.runs.laps.formulas import (
    Fade,
    LapFigures,
    better_half_mean_s,
    lap_figures,
    packed_laps,
    robust_spread_s,
    slope_with_interval,
    traffic_laps,
    traffic_limit_s,
    unpacked_laps,
)
from pitapp.runs.laps.pasted import Reading, read_laps

__all__ = [
    "Change",
    "Fade",
    "LapFigures",
    "Reading",
    "SetupLine",
    "better_half_mean_s",
    "changes",
    "in_one_line",
    "lap_figures",
    "packed_laps",
    "parse_setup",
    "parse_time_s",
    "read_laps",
    "robust_spread_s",
    "slope_with_interval",
    "time_text",
    "traffic_laps",
    "traffic_limit_s",
    "unpacked_laps",
]

MOST_TIME_S = 86_400
MOST_ENTRIES = 200
_TIME = re.compile(r"(?:(\d{1,2}):(?=\d{1,2}:))?(?:(\d{1,4}):)?(\d{1,6}(?:\.\d{0,6})?)\Z")
_MINUTES = re.compile(r"([1-9]\d?)\.([0-5]\d)\Z", re.ASCII)
_FIGURE = re.compile(r"[-+−]?\d+(?:[.,]\d+)?(?:/\d+(?:[.,]\d+)?)?")
_LINE = re.compile(rf"(?P<name>\S.*?)\s+(?P<value>{_FIGURE.pattern})(?P<unit>\s*\D.*)?\Z")


def time_text(seconds: float) -> str:
    """A lap or run time as it is read out: seconds, with minutes and hours before them from a minute on.

    Args:
        seconds: 0 to 86 400 s.

    Returns:
        At least two and at most three decimals, as a clock shows them.

    Raises:
        ValueError: the time is negative, over a day, or no finite number.

    >>> time_text(14.87), time_text(15.1234), time_text(312.4), time_text(3725)
    ('14.87', '15.123', '5:12.40', '1:02:05.00')
    """
    thousandths = round(number(seconds, "time", 0, MOST_TIME_S, unit="s") * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    decimals = 2 if rest % 10 == 0 else 3
    if not minutes:
        return f"{rest / 1000:.{decimals}f}"
    hours, minutes = divmod(minutes, 60)
    front = f"{hours}:{minutes:02}" if hours else f"{minutes}"
    return f"{front}:{rest / 1000:0{3 + decimals}.{decimals}f}"


def parse_time_s(text: str, sensible: tuple[float, float] | None = None) -> float:
    """The seconds in a time such as "14.87", "5:12.4" or "1:02:05".

    A number keypad has no colon, so that of two points the first parts minutes from seconds.

    Args:
        text: seconds, or minutes and seconds, or hours, minutes and seconds.
        sensible: least and most in s; "5.02" is 5:02 where 5.02 s lies outside of it and 302 s within.

    Returns:
        The time in s.

    Raises:
        ValueError: it is no such time, or there are 60 or more seconds or minutes behind others.

    >>> parse_time_s("14,87"), parse_time_s("5:12.4"), parse_time_s("5.12.4")
    (14.87, 312.4, 312.4)
    >>> parse_time_s("5.02"), parse_time_s("5.02", (60, 3600))
    (5.02, 302.0)
    """
    tidy = "".join(text.split()).replace(",", ".")
    if sensible and (point := _MINUTES.match(tidy)):
        as_minutes = 60 * int(point[1]) + int(point[2])
        if (
            not sensible[0] <= float(tidy) <= sensible[1]
            and sensible[0] <= as_minutes <= sensible[1]
        ):
            return float(as_minutes)
    if tidy.count(".") == 2 and ":" not in tidy:
        tidy = tidy.replace(".", ":", 1)
    match = _TIME.match(tidy)
    if match is None:
        raise ValueError("Write a time like 14.87, or 5:12.4 for minutes and seconds.")
    hours, minutes, seconds = int(match[1] or 0), int(match[2] or 0), float(match[3])
    if (match[2] and seconds >= 60) or (match[1] and minutes >= 60):
        raise ValueError("Behind minutes or hours there are fewer than 60.")
    total = round(3600 * hours + 60 * minutes + seconds, 6)
    return number(total, "time", 0, MOST_TIME_S, unit="s")


class SetupLine(NamedTuple):
    """One line of a set-up list as it was written."""

    group: str
    name: str
    value: str
    unit: str


def parse_setup(text: str) -> list[SetupLine]:
    """The entries of a set-up list: one a line, and a line that ends with a colon names a group.

    A line is a name, then a value, then its unit; with "=" between name and value where the value is
    a word or the name has a number in it. A value of "?" is not known yet.

    Raises:
        ValueError: there is no entry, there are more than 200, or a part is over its length.

    >>> parse_setup("Front:\\nRide height 5.2 mm\\nSprings = soft")
    [SetupLine(group='Front', name='Ride height', value='5.2', unit='mm'), \
SetupLine(group='Front', name='Springs', value='soft', unit='')]
    """
    group, entries = "", []
    for line in filter(None, map(str.strip, text.splitlines())):
        if line.endswith(":"):
            group = line[:-1].strip()
            if len(group) > 60:
                raise ValueError(f"“{group[:20]}…” is too long for a group. Keep it under 60.")
            continue
        entry = _entry(group, line)
        for part, most in ((entry.name, 60), (entry.value, 60), (entry.unit, 20)):
            if len(part) > most:
                raise ValueError(f"“{part[:20]}…” is too long. Keep it under {most} characters.")
        entries.append(entry)
    if not entries:
        raise ValueError("Write at least one entry, such as: Ride height 5.2 mm")
    if len(entries) > MOST_ENTRIES:
        raise ValueError(f"That is more than {MOST_ENTRIES} entries at once.")
    return entries


def _entry(group: str, line: str) -> SetupLine:
    if "=" in line:
        name, _, rest = line.partition("=")
        if not name.strip():
            raise ValueError(f"“{line[:20]}” has no name before “=”.")
        rest = rest.strip()
        if rest.startswith("?"):
            return SetupLine(group, name.strip(), "", rest[1:].strip())
        figure = _FIGURE.match(rest)
        value = figure[0] if figure else rest
        unit = rest[len(value) :].strip()
        return SetupLine(group, name.strip(), *((value, unit) if figure else (rest, "")))
    match = _LINE.match(line)
    if match is None:
        return SetupLine(group, line, "", "")
    return SetupLine(group, match["name"], match["value"], (match["unit"] or "").strip())

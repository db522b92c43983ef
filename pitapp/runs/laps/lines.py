"""The figures in pasted text: its lines, and the times, counts and gaps in each."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

LONGEST_TEXT = 100_000
MOST_LINES = 2000
_DATE = re.compile(
    r"(?<![\d.,:])(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}([-/.])\d{1,2}\1\d{4})(?![\d:])"
)
_OTHER_UNIT = re.compile(r"\s?(?:km|mi|mph|m/s|°|%|v\b|mv\b|a\b|rpm|mm|volt|amp)", re.IGNORECASE)
_NUMBER = r"\d{1,9}(?:[:.'′]\d{1,9})*(?:[\"″]\d{1,6})?"
_FIGURE = re.compile(rf"(?P<before>[A-Za-z#+\-−±]?)(?P<number>{_NUMBER})")
_TIGHT = re.compile(r"\d[\d:.'′]*(?:,\d[\d:.'′]*)+")
_MINUTES = re.compile(
    r"(\d+)\s?(?:min|m)\b\.?\s?(\d{1,2}(?:[.,]\d+)?)\s?(?:sec\b|s\b)?", re.IGNORECASE
)
_CLOCK = re.compile(r"(?:(\d{1,2}):(?=\d{1,2}:))?(?:(\d{1,4}):)?(\d{1,9})(?:\.(\d{1,9}))?\Z")


class Figure(NamedTuple):
    """A number of a line: its value (of a time in s), as it stands there, and what it may be.

    `whole`: no decimals and no colon. `label`: a letter or # stands before it, as in "L3".
    """

    value: float
    text: str
    whole: bool
    label: bool = False


class Line(NamedTuple):
    """A line of the text and the figures in it."""

    text: str
    figures: tuple[Figure, ...]


def line_texts(text: str) -> list[str]:
    """The lines that hold a digit, tidied.

    Raises:
        ValueError: the text is too long.
    """
    if len(text) > LONGEST_TEXT:
        raise ValueError("That is too much text for the laps of one run.")
    lines = [line.strip() for line in text.splitlines() if re.search(r"\d", line)]
    if len(lines) > MOST_LINES:
        raise ValueError(f"That is more than {MOST_LINES} lines. Paste the laps of one run.")
    return [_MINUTES.sub(r"\1:\2", _DATE.sub(" ", line)) for line in lines]


def comma_meanings(lines: Iterable[str]) -> list[bool]:
    """What a comma between two digits may be: True for a decimal comma, False for a separator."""
    text = "\n".join(lines)
    tight = _TIGHT.findall(text)
    if not tight:
        return [False]
    if any(re.search(r"\d\.\d", run) for run in tight):
        return [False]
    if re.search(r"(?<![\d.])\d+\.\d{2,3}(?![\d.])", text):
        return [False]
    padded = any(re.search(r",0\d", run) for run in tight)
    return [True] if padded else [True, False]


def read_line(text: str, *, decimal_comma: bool) -> Line:
    """The figures of a line; what carries a sign or another unit than seconds is passed over."""
    tidy = re.sub(r",(?=\s|$)", " ", text)
    tidy = _TIGHT.sub(lambda match: _parted(match[0], decimal_comma=decimal_comma), tidy)
    figures = []
    for match in _FIGURE.finditer(tidy):
        before, number = match["before"], match["number"]
        if before in "+-−±" and before and not _joins(tidy, match.start()):
            continue
        if _OTHER_UNIT.match(tidy, match.end()):
            continue
        value = _seconds(number)
        if value is not None:
            whole = number.isdigit()
            figures.append(Figure(value, number, whole, whole and bool(before.strip("+-−±"))))
    return Line(text, tuple(figures))


def _joins(text: str, at: int) -> bool:
    """Whether the sign at that place only joins or parts words: "3-14.87", "Lap 3 - 14.87"."""
    return text[at] not in "+±" and (
        text[at + 1 : at + 2].isspace() or (at > 0 and not text[at - 1].isspace())
    )


def _parted(run: str, *, decimal_comma: bool) -> str:
    """Numbers with commas between as numbers with points and spaces between, paired from the right."""
    parts = run.split(",")
    if not decimal_comma:
        return " ".join(parts)
    start = len(parts) % 2
    pairs = [f"{parts[i]}.{parts[i + 1]}" for i in range(start, len(parts), 2)]
    return " ".join([*parts[:start], *pairs])


def _seconds(number: str) -> float | None:
    tidy = re.sub(r"['′]", ":", re.sub(r"[\"″]", ".", number))
    if tidy.count(".") == 2 and ":" not in tidy:
        tidy = tidy.replace(".", ":", 1)
    match = _CLOCK.match(tidy)
    if match is None:
        return None
    hours, minutes, seconds = int(match[1] or 0), int(match[2] or 0), int(match[3])
    if (match[2] and seconds >= 60) or (match[1] and minutes >= 60):
        return None
    thousandths = round(float(f"0.{match[4]}") * 1000) if match[4] else 0
    return (((hours * 60 + minutes) * 60 + seconds) * 1000 + thousandths) / 1000

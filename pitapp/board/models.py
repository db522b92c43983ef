"""What the Board knows of the moment, and the lines that the rooms answer with."""

from __future__ import annotations

from typing import Literal

from pydantic import AwareDatetime

from pitapp.kit.models import Car
from pitapp.meetings.models import Heat, Meeting, RaceClass
from pitapp.record import Record


class Situation(Record):
    """The moment: which car, at which meeting, under which rules, before which heat."""

    car: Car
    now: AwareDatetime
    meeting: Meeting | None = None
    race_class: RaceClass | None = None
    heat: Heat | None = None


class ReadyLine(Record):
    """One line of readiness, with its reason and the screen that mends it."""

    name: str
    level: Literal["good", "look", "stop"]
    word: str
    """The state in a word or two, such as "not checked"; what it calls for is the level."""
    reason: str
    href: str


class Due(Record):
    """What the Board's large button says, and where it leads."""

    label: str
    href: str

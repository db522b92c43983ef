"""What a link may hold: what a club or a friend hands out, and nothing of anybody's records."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from datetime import timedelta
from typing import Annotated, Any

from pydantic import AfterValidator, Field, model_validator

from pitapp.dates import Day, Moment
from pitapp.gearing.answer import Question, answer
from pitapp.kit.models import Name
from pitapp.meetings.models import KIND_NAMES, MOST_LIMITS, HeatKind, RaceClass, known_zone
from pitapp.record import Record
from pitapp.runs.entries import MOST_TEXT, ShortText, Unit, with_unit
from pitapp.tracks.models import Track

MOST_ENTRIES = 200
NEAR_ITS_DAY = timedelta(days=3)
OF_THE_DATABASE = {"id", "version", "remarks"}
"""What a class or a track has beside what is handed out."""
MORE = "It holds more than what is handed out."
TURNING = frozenset(map(chr, (*range(0x202A, 0x202F), *range(0x2066, 0x206A))))
"""Characters that turn the direction of what follows (Unicode Standard Annex 9): a name can look as it is not."""
FILLERS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u3164\uffa0")
"""Fillers, which no category has (Unicode Standard, 18.6)."""
JOINERS = frozenset(map(chr, (0x200C, 0x200D, 0x200E, 0x200F, 0x061C, *range(0xE0020, 0xE0080))))
"""Of the format characters those that letters and pictures are written with."""


class TimetableEntry(Record):
    """A heat, practice, final or marshalling, as a club's timetable has it."""

    kind: HeatKind
    number: int = Field(ge=1, le=999)
    starts_at: Moment

    @property
    def title(self) -> str:
        """What it is called, such as "Heat 3"."""
        return f"{KIND_NAMES[self.kind]} {self.number}"


class Timetable(Record):
    """A race day with its entries; `day` is the date on the wall clock in its own time zone."""

    day: Day
    name: str = Field("", max_length=60)
    time_zone: Annotated[str, AfterValidator(known_zone)]
    entries: tuple[TimetableEntry, ...] = Field((), max_length=MOST_ENTRIES)

    @model_validator(mode="after")
    def _is_of_one_day(self) -> Timetable:
        if len({(each.kind, each.number) for each in self.entries}) < len(self.entries):
            raise ValueError("The timetable has an entry twice.")
        if any(abs(each.starts_at.date() - self.day) > NEAR_ITS_DAY for each in self.entries):
            raise ValueError("The timetable has times that are not of its day.")
        return self

    @property
    def date_text(self) -> str:
        """Its date in words."""
        return f"{self.day:%a} {self.day.day} {self.day:%b %Y}"

    @property
    def title(self) -> str:
        """Its name, or else its date."""
        return self.name or self.date_text


class SetUpEntry(Record):
    """One entry of a set-up, in the words of whoever wrote it."""

    group: ShortText = ""
    name: Name
    value: Annotated[str, Field(min_length=1, max_length=MOST_TEXT)]
    unit: Unit = ""

    @property
    def text(self) -> str:
        """The value with its unit."""
        return with_unit(self.value, self.unit)


class SetUp(Record):
    """The set-up of a car: every entry that has a value."""

    car: Name
    entries: tuple[SetUpEntry, ...] = Field(min_length=1, max_length=MOST_ENTRIES)


class GearSlip(Record):
    """A gear, and what it turns: as the gearing screen has it."""

    car: str = Field("", max_length=60)
    gear: Question

    @model_validator(mode="after")
    def _can_be_worked_out(self) -> GearSlip:
        answer(self.gear)
        return self


class HandOut(Record):
    """What one link holds. A club's has a class, a track and a timetable at once."""

    race_class: RaceClass | None = None
    track: Track | None = None
    timetable: Timetable | None = None
    setup: SetUp | None = None
    gear: GearSlip | None = None

    @property
    def parts(self) -> list[str]:
        """The names of what it holds."""
        return [name for name in HandOut.model_fields if getattr(self, name) is not None]

    @model_validator(mode="after")
    def _holds_what_is_handed_out(self) -> HandOut:
        limits = self.race_class.limits if self.race_class else ()
        parts = filter(None, (self.race_class, self.track, *limits))
        if any(part.model_fields_set & OF_THE_DATABASE for part in parts):
            raise ValueError(MORE)
        if not self.parts:
            raise ValueError("It holds nothing.")
        if len(limits) > MOST_LIMITS:
            raise ValueError(f"A class has at most {MOST_LIMITS} further limits.")
        return self

    @model_validator(mode="after")
    def _is_written_in_plain_lines(self) -> HandOut:
        for text in _texts(self.model_dump()):
            plain = "".join(each for each in text if not _is_unseen(each))
            if plain != text:
                raise ValueError(f'In "{plain}" is a line break or an invisible character.')
        return self


def _is_unseen(character: str) -> bool:
    if character in FILLERS or character in TURNING:
        return True
    kind = unicodedata.category(character)
    return kind in ("Cc", "Cs") or (kind == "Cf" and character not in JOINERS)


def _texts(value: Any) -> Iterator[str]:
    """Every text in what a model holds, however deep."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from _texts(list(value.values()))
    elif isinstance(value, list | tuple):
        for each in value:
            yield from _texts(each)

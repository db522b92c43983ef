"""Entries of a set-up: a name, a value and its unit, as they are and as they were."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import Field, model_validator

from pitapp.kit.models import Name
from pitapp.record import Record
from pitapp.runs.direction_words import as_number
from pitapp.units import with_minus

MOST_TEXT = 60
ShortText = Annotated[str, Field(max_length=MOST_TEXT)]
Unit = Annotated[str, Field(max_length=20)]
_PACKED = ("name", "value", "unit", "group")


def with_unit(value: str, unit: str) -> str:
    """A value with its unit, or "empty"; thousands are set apart from five figures on.

    >>> with_unit("5.4", "mm"), with_unit("-1.5", "°"), with_unit("", "mm")
    ('5.4 mm', '−1.5°', 'empty')
    >>> with_unit("14600", "rpm").replace("\u202f", " ")
    '14 600 rpm'
    """
    joint = "" if unit in ("", "°") else " "
    text = with_minus(value) if as_number(value) is not None else value
    if value.isdecimal() and len(value) > 4:
        text = f"{int(value):,}".replace(",", "\u202f")
    return f"{text}{joint}{unit}" if value else "empty"


class SetupEntry(Record):
    """One entry of a car's set-up, in the racer's own words; the value may be a number or a word."""

    id: int = 0
    car_id: int
    group_name: ShortText = ""
    name: Name
    value: ShortText = ""
    unit: Unit = ""
    step_size: float | None = Field(None, gt=0, le=100_000)
    used: tuple[str, ...] = ()
    position: int = 0
    version: int = 1

    @property
    def number(self) -> float | None:
        """The value as a number, or None for a word."""
        return as_number(self.value)

    @property
    def text(self) -> str:
        """The value with its unit."""
        return with_unit(self.value, self.unit)

    def nudged(self, steps: int) -> str:
        """The value so many steps on, with as many decimals as value and step have.

        The step is the entry's own, else one in the last decimal of its value.

        >>> SetupEntry(car_id=1, name="Ride height", value="5.4", unit="mm").nudged(-1)
        '5.3'
        >>> SetupEntry(car_id=1, name="Camber", value="-1.5", step_size=0.25).nudged(1)
        '-1.25'

        Raises:
            ValueError: the value is no number.
        """
        if self.number is None:
            raise ValueError("Only a number can be changed in steps.")
        decimals = len(re.split("[.,]", self.value)[1]) if re.search("[.,]", self.value) else 0
        step = self.step_size or 10.0**-decimals
        decimals = max(decimals, len(f"{step:.6f}".rstrip("0").split(".")[1]))
        text = f"{self.number + steps * step:.{decimals}f}"
        return text if float(text) else text.lstrip("-")


class Setting(Record):
    """A name and a value as they were: of the set-up, or of the controller.

    >>> Setting.model_validate(["Ride height", "5.4", "mm", "Rear"]).packed
    ['Ride height', '5.4', 'mm', 'Rear']
    """

    group: str = ""
    name: str
    value: str = ""
    unit: str = ""

    @model_validator(mode="before")
    @classmethod
    def _unpack(cls, stored: Any) -> Any:
        return dict(zip(_PACKED, stored, strict=False)) if isinstance(stored, list) else stored

    @property
    def packed(self) -> list[str]:
        """The short form in which many are kept: name, value, unit, group, without empty ends."""
        values = [getattr(self, name) for name in _PACKED]
        while not values[-1]:
            values.pop()
        return values

    @property
    def text(self) -> str:
        """The value with its unit.

        >>> Setting(group="Rear", name="Ride height", value="5.4", unit="mm").text
        '5.4 mm'
        """
        return with_unit(self.value, self.unit)

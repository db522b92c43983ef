"""A car's leads: what each adds in resistance and weight."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitapp.kit.formulas import lead_drop_v, lead_mass_g, lead_resistance_ohm
from pitapp.kit.models import Name
from pitapp.record import Record

LeadKind = Literal["pair", "motor", "single"]
COUNTS: dict[LeadKind, tuple[int, int]] = {"pair": (2, 2), "motor": (3, 2), "single": (1, 1)}
"""For each kind: how many leads there are, and through how many of them the current goes.

That two of a sensored brushless motor's three leads carry the current at a time is common practice.
"""


class Lead(Record):
    """Leads of one gauge and length, together."""

    id: int = 0
    car_id: int
    name: Name
    kind: LeadKind = "pair"
    awg: int = Field(ge=0, le=40)
    length_mm: float = Field(gt=0, le=5000)
    version: int = 1

    @property
    def count(self) -> int:
        """How many leads there are."""
        return COUNTS[self.kind][0]

    @property
    def path_mm(self) -> float:
        """The way of the current through them."""
        return self.length_mm * COUNTS[self.kind][1]

    @property
    def copper_g(self) -> float:
        """Weight of the copper; the insulation is not counted."""
        return lead_mass_g(self.awg, self.length_mm * self.count)

    def resistance_ohm(self, copper_c: float) -> float:
        """Resistance of the current's way, the copper being that warm."""
        return lead_resistance_ohm(self.awg, self.path_mm, copper_c)

    def drop_v(self, current_a: float, copper_c: float) -> float:
        """Volts lost along the current's way."""
        return lead_drop_v(self.awg, self.path_mm, current_a, copper_c)


class Load(Record):
    """The current at which losses are asked for, and how warm the copper is."""

    current_a: float = Field(50, gt=0, le=1000)
    copper_c: float = Field(20, ge=-50, le=200)

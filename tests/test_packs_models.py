"""What a pack, a reading and a charger may be."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from pitapp.packs.models import ChargerRecord, Pack, Reading
from tests.support import RACE_MORNING


@pytest.mark.parametrize(
    "changes",
    [
        {"mark": ""},
        {"mark": "x" * 41},
        {"cells_series": 0},
        {"cells_series": 17},
        {"cells_parallel": -1},
        {"capacity_mah": 0},
        {"capacity_mah": float("nan")},
        {"capacity_mah": 1e9},
        {"most_charge_c": 0},
        {"most_charge_c": 21},
        {"resistance_new_ohm": 0},
        {"mass_g": -1},
        {"cycles_before": -1},
    ],
)
def test_a_pack_that_cannot_be_is_refused(changes: dict[str, Any]) -> None:
    values = {"mark": "A", "cells_series": 2, "capacity_mah": 6000} | changes
    with pytest.raises(ValidationError):
        Pack(**values)


@pytest.mark.parametrize(("cells", "volts"), [(2, 11.1), (3, 7.4), (1, 7.4), (4, 7.6)])
def test_a_nominal_voltage_that_is_not_the_cells_is_refused(cells: int, volts: float) -> None:
    with pytest.raises(ValidationError, match="is not the nominal voltage"):
        Pack(mark="A", cells_series=cells, capacity_mah=6000, nominal_v=volts)


def test_damaged_comes_before_retired() -> None:
    pack = Pack(mark="A", cells_series=2, capacity_mah=6000, retired_at=RACE_MORNING)
    assert pack.condition == "retired"
    assert pack.model_copy(update={"damaged": True}).condition == "damaged"


def test_an_empty_reading_says_nothing() -> None:
    with pytest.raises(ValidationError, match="at least one thing"):
        Reading(pack_id=1, read_at=RACE_MORNING)
    with pytest.raises(ValidationError):
        Reading(pack_id=1, read_at=RACE_MORNING, cell_v=(5.1,))


def test_a_charger_has_an_output() -> None:
    with pytest.raises(ValidationError):
        ChargerRecord(name="x", outputs=0, amps_per_output=10, watts_per_output=100)

"""How a pack stands, from what is on record about it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from pitapp.packs.health.state import PackState
from pitapp.packs.models import Charge, Pack, Reading, Storage
from tests.support import RACE_MORNING

PACK = Pack(mark="A", cells_series=2, capacity_mah=6000, resistance_new_ohm=0.002)
EARLIER = RACE_MORNING - timedelta(hours=2)


def read(at: Any = RACE_MORNING, **values: Any) -> Reading:
    return Reading(pack_id=1, read_at=at, **values)


def charged(outcome: str | None = "done", purpose: str = "full", **values: Any) -> Charge:
    return Charge(
        uuid="u",
        pack_id=1,
        purpose=purpose,
        prepared_at=EARLIER,
        started_at=EARLIER,
        due_at=RACE_MORNING,
        ended_at=RACE_MORNING if outcome else None,
        outcome=outcome,
        start_percent=30.0,
        **values,
    )


def test_nothing_on_record_is_not_known_and_not_due() -> None:
    state = PackState(PACK)
    assert (state.newest, state.percent, state.storage_due) == (("unknown", None), None, False)


def test_a_reading_tells_the_charge_by_the_published_table() -> None:
    state = PackState(PACK, voltages=read(cell_v=(3.79, 3.796)))
    # 3.793 V is 50 % (Ai et al., J. Electrochem. Soc. 167 (2020) 013512, by PyBaMM 26.10).
    assert state.percent == pytest.approx(50)


@pytest.mark.parametrize(
    ("volts", "due"), [(4.2, True), (3.9, True), (3.85, False), (3.8, False), (3.7, True)]
)
def test_storage_is_due_away_from_storage(volts: float, due: bool) -> None:
    assert PackState(PACK, voltages=read(cell_v=(volts, volts))).storage_due is due


def test_storage_is_due_after_a_charge_and_a_run_until_it_is_done() -> None:
    full = PackState(PACK, charge=charged())
    assert (full.percent, full.storage_due) == (100, True)
    run = full._replace(last_run=RACE_MORNING + timedelta(minutes=20), usual_mah=3000.0)
    assert (run.percent, run.storage_due) == (50, True)
    stored = Storage(pack_id=1, stored_at=RACE_MORNING + timedelta(hours=1), cell_v=3.793)
    done = run._replace(storage=stored)
    assert done.percent == pytest.approx(50)
    assert not done.storage_due
    again = done._replace(last_run=RACE_MORNING + timedelta(hours=2))
    assert again.storage_due


def test_a_run_of_unknown_use_takes_a_share() -> None:
    assert PackState(PACK, last_run=RACE_MORNING).percent == pytest.approx(40)
    used_up = PackState(PACK, last_run=RACE_MORNING, usual_mah=9000.0)
    assert used_up.percent == 0


def test_a_pack_on_the_charger_is_neither_full_nor_due() -> None:
    state = PackState(PACK, charge=charged(None), last_run=RACE_MORNING)
    assert state.newest[0] == "charging"
    assert (state.percent, state.storage_due) == (30, False)


def test_a_charge_that_was_stopped_does_not_count_as_full() -> None:
    assert PackState(PACK, charge=charged("stopped")).percent == 30
    assert PackState(PACK, charge=charged("stopped")).storage_due


def test_a_damaged_pack_is_not_due_to_storage() -> None:
    damaged = PACK.model_copy(update={"damaged": True})
    assert not PackState(damaged, charge=charged()).storage_due


@pytest.mark.parametrize(
    ("values", "level"),
    [
        ({}, "fit to race"),
        ({"after_charge": read(cell_v=(4.2, 4.19))}, "fit to race"),
        ({"after_charge": read(cell_v=(4.2, 4.17))}, "look at it"),
        ({"after_charge": read(cell_v=(4.2, 4.14))}, "retire it"),
        ({"resistances": read(cell_ohm=(0.0021, 0.0029))}, "fit to race"),
        ({"resistances": read(cell_ohm=(0.0021, 0.0031))}, "look at it"),
        ({"resistances": read(cell_ohm=(0.0021, 0.0041))}, "retire it"),
        ({"voltages": read(cell_v=(3.8, 2.9))}, "retire it"),
        ({"voltages": read(cell_v=(3.8, 3.7))}, "fit to race"),
    ],
)
def test_the_verdict_is_that_of_the_worst_figure(values: dict[str, Any], level: str) -> None:
    """The limits are common practice without a source: 20 and 50 mV, 50 and 100 % of growth."""
    verdict = PackState(PACK, **values).verdict(RACE_MORNING)
    assert verdict.level == level
    assert bool(verdict.reasons) == (level != "fit to race")


def test_an_old_pack_is_looked_at_and_one_bought_in_the_future_is_new() -> None:
    def level(bought_on: date) -> str:
        pack = PACK.model_copy(update={"bought_on": bought_on})
        return PackState(pack).verdict(RACE_MORNING).level

    assert level(RACE_MORNING.date() - timedelta(days=800)) == "look at it"
    assert level(RACE_MORNING.date() - timedelta(days=1500)) == "retire it"
    assert level(RACE_MORNING.date() + timedelta(days=5)) == "fit to race"


def test_resistance_is_the_mean_of_the_cells_else_the_model_cells() -> None:
    assert PackState(PACK, resistances=read(cell_ohm=(0.002, 0.004))).cell_ohm == pytest.approx(
        0.003
    )
    # The published cell: 71 mΩ at 2.466 Ah.
    assert PackState(PACK).cell_ohm == pytest.approx(0.071 * 2.466 / 6, rel=0.001)


def test_cycles_count_what_was_before_the_log() -> None:
    pack = PACK.model_copy(update={"cycles_before": 40})
    assert PackState(pack, full_charges=2).cycles == 42


@pytest.mark.parametrize(
    ("more", "percent"),
    [
        # 1 Ah of 6 Ah are 16.7 % more than 30.
        ({"moved_mah": 1000.0, "current_a": 6.0}, 46.7),
        ({"moved_mah": 1000.0, "current_a": 6.0, "discharging": True}, 13.3),
        # Two hours at 0.6 A are 1.2 Ah, 20 %.
        ({"current_a": 0.6}, 50.0),
        ({"current_a": 0.6, "discharging": True}, 10.0),
        ({}, 30.0),
    ],
)
def test_a_charge_that_was_stopped_left_in_it_what_went_in(
    more: dict[str, Any], percent: float
) -> None:
    state = PackState(PACK, charge=charged("stopped", **more))
    assert state.percent == pytest.approx(percent, abs=0.05)
    assert not state.full


def test_no_time_on_the_charger_makes_a_stopped_pack_full() -> None:
    """Two hours at 6 A would be twice the pack: the end at constant voltage is not counted."""
    state = PackState(PACK, charge=charged("stopped", current_a=6.0))
    assert state.percent is not None
    assert 60 < state.percent < 95
    assert not state.full


def test_a_charge_stopped_by_trouble_counts_for_nothing() -> None:
    assert PackState(PACK, charge=charged("trouble", current_a=6.0)).percent == 30

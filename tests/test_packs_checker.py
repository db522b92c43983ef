"""The checker that judges every charge plan finds each planted fault, and nothing in a good plan."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.packs_checker import ChargerNow, Facts, OnCharger, PackNow, Plan, Work, complaints

BIG = ChargerNow(1, 6.0, 100.0, None, None)
SMALL = ChargerNow(1, 3.0, 30.0, None, None)
FACTS = Facts(
    packs={
        "A": PackNow(6.0, 2, 1.0, 50.0),
        "B": PackNow(3.0, 2, 1.0, 50.0, cool_at=10.0),
        "C": PackNow(3.0, 2, 1.0, None, on_charger_until=20.0, full_when_off=True),
    },
    heats=[(100.0, 6.0, 2.0), (130.0, 6.0, 1.0), (160.0, 6.0, 1.0)],
    chargers=[BIG, SMALL],
    running=[OnCharger(20.0, 3.0, 25.2, "C", 1)],
    cooling=20.0,
    margin=10.0,
    most_full=60.0,
    watched=False,
    marshalling=[(112.0, 118.0)],
)
GOOD = Plan(
    heats=[("A", True), ("B", True), ("C", False)],
    work=[
        Work("A", "charge", 50, 85, 6.0, 0),
        Work("B", "charge", 76, 98, 3.0, 1),
        Work("B", "charge", 106, 112, 3.0, 1),
        Work("B", "charge", 118, 120, 3.0, 1),
        Work("A", "storage", 166, 186, -1.0, 0),
    ],
)
A, B1, B2, B3, STORE = GOOD.work


def work(*items: Work) -> dict[str, Any]:
    return {"work": list(items)}


def test_a_good_plan_has_no_complaint() -> None:
    assert complaints(FACTS, GOOD) == []


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (work(replace(A, begin=66), B1, B2, B3), "Ah are lacking"),
        (work(replace(A, end=95), B1, B2, B3), "ready at 105"),
        (work(replace(A, amps=7.0), B1, B2, B3), "charged with 7.00 A"),
        (work(A, replace(B1, amps=3.5), B2, B3), "charged with 3.50 A"),
        (work(replace(A, begin=5, end=39), B1, B2, B3), "full from 39 to 100"),
        (work(A, replace(B1, begin=5, end=23), B2, B3), "charged warm at 5"),
        (work(A, B1, replace(B2, begin=104), B3), "alone at 100"),
        (work(A, B1, B2, replace(B3, begin=114)), "alone at 112"),
        (work(A, B1, B2), "Ah are lacking"),
        (work(A, replace(B1, charger=0), B2, B3), "2 on the charger"),
        (work(A, B1, replace(B2, begin=97), B3), "in two places"),
        (work(replace(A, charger=1), B1, B2, B3), "charged with 6.00 A"),
        (work(A, B1, B2, B3, replace(STORE, begin=90, end=110)), "in two places"),
        (work(A, B1, B2, B3, Work("C", "charge", 170, 200, 3.0)), "charged for no heat"),
        (work(A, B1, B2, B3, Work("D", "storage", 170, 200, -1.0)), "D is not to be used"),
        ({"heats": [("A", True), ("A", True), ("C", False)]}, "called full at 130"),
        ({"heats": [("C", True), ("B", True), ("A", False)]}, "full from 20 to 100"),
        ({"running": [[(0.0, 12.0)]]}, "another time than it lacks"),
        ({"running": [[(5.0, 20.0), (0.0, 5.0)]]}, "in no order"),
        ({"running": [[(0.0, 10.0), (95.0, 105.0)]]}, "C on the charger from 95 to 105, alone"),
        ({"running": []}, "0 of 1 charges that run"),
    ],
)
def test_each_fault_is_found(changes: dict[str, Any], words: str) -> None:
    found = complaints(FACTS, replace(GOOD, **changes))
    assert any(words in complaint for complaint in found), found


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"chargers": [replace(BIG, all_amps=5.0), SMALL]}, "6.00 A in all at 50"),
        ({"chargers": [replace(BIG, all_watts=50.0), SMALL]}, "50.4 W in all at 50"),
        ({"chargers": [replace(BIG, watts=50.0), SMALL]}, "charged with 50.4 W"),
        ({"running": [OnCharger(60.0, 3.0, 25.2, "C", 0)]}, "1 on the charger at 50 beside 1"),
        ({"running": [OnCharger(60.0, 3.0, 25.2, "C", None)]}, "1 on the charger at 50 beside 1"),
        ({"margin": 16.0}, "given to the heat at 100, ready at 101"),
        ({"marshalling": [(60.0, 66.0)]}, "A on the charger from 50 to 85, alone at 60"),
        ({"packs": FACTS.packs | {"A": PackNow(6.0, 2, 1.0, 50.0, sound=False)}}, "not to be used"),
    ],
)
def test_a_plan_for_another_day_is_found_out(facts: dict[str, Any], words: str) -> None:
    found = complaints(replace(FACTS, **facts), GOOD)
    assert any(words in complaint for complaint in found), found


def test_somebody_who_watches_lets_a_charge_go_on() -> None:
    watched = replace(FACTS, watched=True, marshalling=[(60.0, 66.0)])
    assert complaints(watched, GOOD) == []

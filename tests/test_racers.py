"""The invented racers: the same from the same seed, and physics that a textbook would pass."""

from __future__ import annotations

import numpy as np
import pytest

from tests.house import ROOT, imports, python_files
from tests.racers import physics
from tests.racers.people import invent
from tests.racers.season import LOOKS, Season, best_safe

HERE = python_files(ROOT / "tests" / "racers")


def test_they_take_nothing_from_the_app_but_its_front_door() -> None:
    taken = {module for path in HERE for module in imports(path) if module.startswith("pitapp")}
    assert taken <= {"pitapp", "pitapp.create_app"}


def test_the_same_seed_gives_the_same_racers_and_runs() -> None:
    first, second = Season(invent(5, 3)), Season(invent(5, 3))
    for index in range(3):
        first.run(index)
        second.run(index)
    assert first.logs == second.logs
    assert first.logs != Season(invent(6, 3)).logs


@pytest.fixture(scope="module")
def season() -> Season:
    season = Season(invent(3, 9))
    for index in range(LOOKS[1]):
        season.run(index)
    return season


def test_every_kind_of_effect_is_in_them(season: Season) -> None:
    people = season.people
    assert {one.kind for one in people.typed} == {"indoor", "club", "large"}
    assert {one.rev_limit for one in people.typed} == {14_600, 17_200, None}
    for gears, truth in zip(people.gears, season.truths(), strict=True):
        # A longer gear (a smaller ratio) is hotter and no gear melts the motor.
        assert np.corrcoef(gears[:, 2], truth.can_c)[0, 1] < -0.9
        assert truth.can_c.max() < 250
        assert best_safe(truth) is not None
        assert (truth.lap_s > 5).all()
        assert (truth.charge_mah > 100).all()


def test_the_can_still_warms_after_the_flag(season: Season) -> None:
    cars = season.people.cars
    hot = np.full(len(cars.mass), 60.0)
    later = [physics.stand(cars, hot + 25, hot, hot * 0 + 20, hot * 0 + s)[1] for s in (20, 1200)]
    assert (later[0] > hot).all()
    assert (later[1] < hot).all()


def test_heat_in_is_heat_stored_and_heat_given_off() -> None:
    cars = invent(4, 6).cars
    air = np.full(6, 20.0)
    winding, can = physics.warm(cars, air, air, air, 30.0, 5.0, cars.moving_w_k, air * 0 + 1, 50)
    stored = cars.winding_j_k * (winding - 20) + cars.can_j_k * (can - 20)
    lost = 35.0 - stored
    assert (lost >= 0).all()
    assert (lost < 0.2).all()
    # And in the end all of it goes to the air: the can settles at P/G over it.
    _, can = physics.warm(cars, air, air, air, 30.0, 5.0, cars.moving_w_k, air * 0 + 2e4, 20_000)
    assert can == pytest.approx(20 + 35.0 / cars.moving_w_k, rel=1e-3)

"""The gear train against handbooks, exact fractions and brute force."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from pitapp.gearing import formulas as gearing
from pitapp.gearing.formulas import (
    FitLimits,
    Gap,
    Gear,
    GearOption,
    centre_distance_mm,
    final_drive_ratio,
    gaps,
    gear_options,
    module_mm_from_diametral_pitch,
    motor_rpm_at,
    nearest_options,
    next_longer,
    next_shorter,
    purchases,
    ratio_for_rollout,
    road_speed_kmh,
    rollout_mm,
    shared_tooth_period,
)
from pitapp.motor.formulas import free_speed_rpm

ODD = [math.nan, math.inf, -math.inf, 0, -1, -0.0, 5e-324, 1e308, 10**400, True, "x", "", None, []]
ANYTHING = st.one_of(
    st.sampled_from(ODD), st.floats(), st.integers(), st.floats(0, 300), st.text(max_size=4)
)
TEETH = st.integers(6, 200)
RATIO = st.floats(0.5, 60)
MM_PER_INCH = Fraction("25.4")


def outcome(function: Callable[..., Any], *args: Any) -> Any:
    """Return the answer, or the sentence of the ValueError."""
    try:
        return function(*args)
    except ValidationError as error:
        return error.errors()[0]["msg"].removeprefix("Value error, ")
    except ValueError as error:
        return str(error)


def is_sentence(result: Any) -> bool:
    return isinstance(result, str) and result[0].isupper() and result.endswith(".")


def test_published_gear_train() -> None:
    """Wentzell, Machine Design, example 11.1: 20/60 × 20/60 turns 3600 rpm into 400 rpm."""
    assert 3600 / final_drive_ratio(60, 20, 60 / 20) == 400


def test_published_centre_distance() -> None:
    """Wentzell, Machine Design, example 11.3: 16 and 32 teeth, DP 8: 2.00 and 4.00 in, 3.00 in."""
    module = module_mm_from_diametral_pitch(8)
    assert module * 16 / 25.4 == pytest.approx(2.00, rel=1e-15)
    assert module * 32 / 25.4 == pytest.approx(4.00, rel=1e-15)
    assert centre_distance_mm(32, 16, module) / 25.4 == pytest.approx(3.00, rel=1e-15)


@pytest.mark.parametrize(("pitch", "module"), [(72, 0.3528), (64, 0.3969), (60, 0.4233)])
def test_published_modules(pitch: int, module: float) -> None:
    """Metric pitch tables print four decimals."""
    assert round(module_mm_from_diametral_pitch(pitch), 4) == module


def test_published_hunting_tooth() -> None:
    """Published gear literature: 11 × 30 teeth share no factor, so all eleven revolutions pass."""
    assert shared_tooth_period(30, 11) == 11
    assert shared_tooth_period(11, 30) == 30


def test_rev_limit_under_free_speed() -> None:
    """Common practice, no source: 15 000 rpm is 17.6 % under 2460 rpm/V at 7.4 V."""
    assert round(100 * (1 - 15000 / free_speed_rpm(2460, 7.4)), 1) == 17.6


def test_very_long_gearing() -> None:
    """Common practice, no source: FDR 2.8 is very long; by hand 63 mm then rolls 63π/2.8 mm."""
    rollout = rollout_mm(63, 2.8)
    assert rollout == pytest.approx(22.5 * math.pi, rel=1e-15)
    assert road_speed_kmh(15000, rollout) == pytest.approx(0.9 * 22.5 * math.pi, rel=1e-15)


@pytest.mark.parametrize("spur", range(8, 131))
def test_every_pair_is_the_exact_fraction(spur: int) -> None:
    """fractions.Fraction as reference over every pair of 8 to 130 teeth."""
    module = Fraction("0.4")
    for pinion in range(8, 131):
        exact = Fraction(spur, pinion)
        assert final_drive_ratio(spur, pinion) == float(exact)
        with_belt = float(exact * Fraction("1.9"))
        assert final_drive_ratio(spur, pinion, 1.9) == pytest.approx(with_belt, rel=4e-16)
        assert shared_tooth_period(spur, pinion) == exact.denominator
        distance = float(module * (spur + pinion) / 2)
        assert centre_distance_mm(spur, pinion, 0.4) == pytest.approx(distance, rel=4e-16)


@given(st.floats(4, 400))
def test_module_is_the_exact_quotient(pitch: float) -> None:
    assert module_mm_from_diametral_pitch(pitch) == pytest.approx(
        float(MM_PER_INCH / Fraction(pitch)), rel=1e-15
    )


@given(st.floats(10, 400), RATIO, st.floats(0, 1000))
def test_there_and_back(tyre: float, ratio: float, speed: float) -> None:
    rollout = rollout_mm(tyre, ratio)
    if 0.5 * (1 + 1e-9) < ratio < 60 * (1 - 1e-9):
        assert ratio_for_rollout(tyre, rollout) == pytest.approx(ratio, rel=1e-12)
    rpm = motor_rpm_at(speed, rollout)
    if rpm <= 300_000:
        assert road_speed_kmh(rpm, rollout) == pytest.approx(speed, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("function", "count"),
    [
        (final_drive_ratio, 3),
        (rollout_mm, 2),
        (ratio_for_rollout, 2),
        (road_speed_kmh, 2),
        (motor_rpm_at, 2),
        (module_mm_from_diametral_pitch, 1),
        (centre_distance_mm, 3),
        (shared_tooth_period, 2),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
@given(data=st.data())
def test_any_input_gives_a_finite_figure_or_a_sentence(
    function: Callable[..., float], count: int, data: st.DataObject
) -> None:
    result = outcome(function, *(data.draw(ANYTHING) for _ in range(count)))
    assert is_sentence(result) or math.isfinite(result)


@given(st.lists(ANYTHING, max_size=3), st.lists(ANYTHING, max_size=3), ANYTHING, ANYTHING)
def test_lists_of_anything_give_options_or_a_sentence(
    pinions: list[Any], spurs: list[Any], ratio: Any, step: Any
) -> None:
    options = outcome(gear_options, pinions, spurs, ratio)
    if is_sentence(options):
        options = [GearOption(20, 60, 3.0)]
    for result in (
        outcome(nearest_options, options, ratio, step),
        outcome(gaps, options, ratio, 10, step),
        outcome(purchases, [20], [60], [21], [61], 2.5, ratio, step),
    ):
        assert is_sentence(result) or result is not None
    for function in (next_longer, next_shorter):
        result = outcome(function, options, ratio)
        assert is_sentence(result) or result is None or result in options


@given(st.sampled_from(sorted(FitLimits.model_fields)), ANYTHING)
def test_any_limit_is_kept_or_refused_with_a_sentence(name: str, value: Any) -> None:
    limits = outcome(lambda: FitLimits(**{"module_mm": 0.4, name: value}))
    assert is_sentence(limits) or (getattr(limits, name) is None) is (value is None)


@given(
    st.lists(TEETH, max_size=8),
    st.lists(TEETH, max_size=8),
    st.tuples(st.integers(12, 400), st.integers(12, 400)).map(sorted),
    st.tuples(TEETH, TEETH).map(sorted),
    st.tuples(TEETH, TEETH).map(sorted),
)
def test_options_are_all_that_fit(
    pinions: list[int], spurs: list[int], sums: list[int], small: list[int], large: list[int]
) -> None:
    limits = FitLimits(
        least_tooth_sum=sums[0],
        most_tooth_sum=sums[1],
        smallest_pinion=small[0],
        largest_pinion=small[1],
        smallest_spur=large[0],
        largest_spur=large[1],
    )
    fitting = {
        (Fraction(spur, pinion), pinion + spur, pinion, spur)
        for pinion in pinions
        for spur in spurs
        if sums[0] <= pinion + spur <= sums[1]
        and small[0] <= pinion <= small[1]
        and large[0] <= spur <= large[1]
    }
    found = gear_options(pinions, spurs, 1.9, limits)
    assert [(o.pinion_teeth, o.spur_teeth) for o in found] == [f[2:] for f in sorted(fitting)]
    assert all(o.final_drive_ratio == final_drive_ratio(o.spur_teeth, o.pinion_teeth, 1.9)
               for o in found)  # fmt: skip


@given(st.lists(TEETH, max_size=12), st.floats(0.05, 5), st.tuples(RATIO, RATIO).map(sorted))
def test_centre_distance_limits(teeth: list[int], module: float, ends: list[float]) -> None:
    limits = FitLimits(
        module_mm=module, least_centre_distance_mm=ends[0], most_centre_distance_mm=ends[1]
    )
    found = {(o.pinion_teeth, o.spur_teeth) for o in gear_options(teeth, teeth, 1, limits)}
    for pinion, spur in ((p, s) for p in teeth for s in teeth):
        distance = Fraction(module) * (pinion + spur) / 2
        if ends[0] + 1e-8 < distance < ends[1] - 1e-8:
            assert (pinion, spur) in found
        if not ends[0] - 1e-8 < distance < ends[1] + 1e-8:
            assert (pinion, spur) not in found


def test_one_pitch_only() -> None:
    """By hand: 64 per inch is 0.396875 mm, within 0.1 % of 0.397 and 0.8 % from 0.4."""
    fine = Gear(30, module_mm_from_diametral_pitch(64))
    assert gear_options([fine], [Gear(90, 0.4)]) == []
    assert gear_options([fine], [Gear(90, 0.397)])[0].final_drive_ratio == 3
    assert gear_options([fine], [90], 1, FitLimits(module_mm=0.4)) == []
    assert gear_options([30], [90], 1, FitLimits(module_mm=0.4))[0].module_mm == 0.4


@given(st.lists(TEETH, min_size=1, max_size=6), RATIO, st.integers(1, 9))
def test_nearest_are_the_nearest(teeth: list[int], target: float, count: int) -> None:
    options = gear_options(teeth, teeth)
    near = nearest_options(options, target, count)
    away = sorted(abs(Fraction(o.final_drive_ratio) - Fraction(target)) for o in options)
    wanted = [float(a) for a in away[:count]]
    assert [abs(n.option.final_drive_ratio - target) for n in near] == pytest.approx(wanted)
    for option, step in near:
        assert target * (1 + step / 100) == pytest.approx(option.final_drive_ratio, rel=1e-9)


@given(st.lists(TEETH, min_size=1, max_size=6))
def test_stepping_visits_every_ratio(teeth: list[int]) -> None:
    options = gear_options(teeth, teeth)
    ratios = sorted({Fraction(s, p) for s in teeth for p in teeth})
    up = [options[0]]
    while option := next_shorter(options, up[-1].final_drive_ratio):
        up.append(option)
    down = [options[-1]]
    while option := next_longer(options, down[-1].final_drive_ratio):
        down.append(option)
    assert [o.final_drive_ratio for o in up] == [float(r) for r in ratios]
    assert [o.final_drive_ratio for o in reversed(down)] == [float(r) for r in ratios]


def test_gaps_by_hand() -> None:
    """2.4, 2.8, 3.0 and 3.5 between 2.4 and 3.6: 16.67, 7.14, 16.67 and 2.86 %."""
    options = gear_options([20, 25], [60, 70])
    found = gaps(options, 2.4, 3.6, 10)
    assert [(g.low, g.high) for g in found] == [(2.4, 2.8), (3.0, 3.5)]
    assert [g.step_percent for g in found] == pytest.approx([50 / 3, 50 / 3])
    assert len(gaps(options, 2.4, 3.6, 7.2)) == 2
    assert len(gaps(options, 2.4, 3.6, 7.1)) == 3
    assert gaps(options, 2.4, 3.6, 16.7) == []
    assert gaps([], 2, 2.1, 5) == []  # a step of exactly 5 % is none too many
    assert gaps([], 2, 4, 5) == [Gap(2, 4, 100)]
    assert outcome(gaps, options, 3, 3, 5) == (
        "The longest wanted ratio must be a lower number than the shortest."
    )


def closed(pinions: Any, spurs: Any, low: str, high: str, step: int) -> bool:
    """Tell, in exact fractions, whether a range of ratios has no hole."""
    ends = [Fraction(low), Fraction(high)]
    ratios = {Fraction(s, p) for s in spurs for p in pinions}
    points = sorted({r for r in ratios if ends[0] < r < ends[1]}.union(ends))
    return all(b / a - 1 <= Fraction(step, 100) for a, b in pairwise(points))


Gears = set[Any]


def stretches(pinions: Gears, spurs: Gears, step: int) -> list[list[Fraction]]:
    """Return what these gears together close between 2.4 and 3.6: runs of steps that are no hole."""
    low, high = Fraction("2.4"), Fraction("3.6")
    ratios = {Fraction(s, p) for s in spurs for p in pinions}
    found = [[low]]
    for ratio in [*sorted(r for r in ratios if low < r < high), high]:
        if ratio / found[-1][-1] - 1 <= Fraction(step, 100):
            found[-1].append(ratio)
        else:
            found.append([ratio])
    return [stretch for stretch in found if len(stretch) > 1]


def closes(pinions: Gears, spurs: Gears, wanted: list[list[Fraction]], step: int) -> bool:
    """Tell whether gears close all of these stretches, each to its very ends."""
    own = stretches(pinions, spurs, step)
    return all(any({each[0], each[-1]} <= {*one} for one in own) for each in wanted)


@settings(max_examples=60, deadline=None)
@given(
    st.sets(st.integers(20, 32), min_size=1, max_size=3),
    st.sets(st.integers(60, 84), max_size=2),
    st.sets(st.integers(20, 32), max_size=6),
    st.sets(st.integers(60, 84), max_size=5),
    st.integers(4, 25),
)
def test_purchases_are_the_fewest(
    pinions: Gears, spurs: Gears, more_pinions: Gears, more_spurs: Gears, step: int
) -> None:
    """Every combination of up to four gears is tried, in exact fractions."""
    found = purchases(pinions, spurs, more_pinions, more_spurs, 2.4, 3.6, step)
    everything = closed(pinions | more_pinions, spurs | more_spurs, "2.4", "3.6", step)
    assert (found.gaps_left == ()) is everything
    assert set(found.pinions) <= more_pinions - pinions
    assert set(found.spurs) <= more_spurs - spurs
    wanted = stretches(pinions | more_pinions, spurs | more_spurs, step)
    assert closes(pinions | {*found.pinions}, spurs | {*found.spurs}, wanted, step)
    offered = [(1, p) for p in more_pinions - pinions] + [(2, s) for s in more_spurs - spurs]
    fewest = next(
        count
        for count in range(len(offered) + 1)
        for chosen in combinations(offered, count)
        if closes(
            pinions | {teeth for kind, teeth in chosen if kind == 1},
            spurs | {teeth for kind, teeth in chosen if kind == 2},
            wanted,
            step,
        )
    )
    assert found.gears >= fewest
    assert found.gears == fewest or not found.proved_minimal
    assert found.proved_minimal or fewest > 3


def test_a_new_pinion_with_a_new_spur() -> None:
    """By hand: 2.5 to 3.5 within 20 %: only 90/30 = 3 lies where it helps, and both are new."""
    found = purchases([50], [60], [30], [90], 2.5, 3.5, 20)
    assert (found.pinions, found.spurs, found.proved_minimal) == ((30,), (90,), True)


def test_what_nothing_closes_is_left_and_the_rest_is_closed() -> None:
    """By hand: 61/20 splits 3.0–3.1; above 3.1 there is 70/20 = 3.5 alone, which closes nothing.

    Where 62/20 = 3.1 is not owned either, 61/20 alone would leave a hole from 3.05.
    """
    found = purchases([20], [60, 62], [], [61, 70], 3.0, 4.0, 2)
    assert (found.spurs, found.proved_minimal) == ((61,), True)
    assert [gap[:2] for gap in found.gaps_left] == [(3.1, 4.0)]
    found = purchases([20], [60], [], [61, 62, 70], 3.0, 4.0, 2)
    assert (found.spurs, found.proved_minimal) == ((61, 62), True)
    assert [gap[:2] for gap in found.gaps_left] == [(3.1, 4.0)]
    nothing = purchases([], [], [], [], 3, 4, 5)
    assert (nothing.gears, nothing.gaps_left[0][:2]) == (0, (3, 4))


def test_gears_of_a_pitch_come_back_as_given() -> None:
    wanted = Gear(25, 0.4)
    offered = [Gear(25, 0.5), wanted]
    found = purchases([Gear(20, 0.4)], [Gear(60, 0.4)], offered, [], 2.2, 3.2, 25)
    assert found.pinions == (wanted,)


def test_a_large_box_has_an_answer_without_holes() -> None:
    """Twenty pinions, ten spurs and sixty on offer: what is bought closes the range."""
    box, more = (range(30, 50), range(60, 80, 2)), (range(20, 60), range(60, 100))
    found = purchases(*box, *more, 1.6, 2.6, 1)
    bought = ({*box[0], *found.pinions}, {*box[1], *found.spurs})
    assert closed(*bought, "1.6", "2.6", 1) is (found.gaps_left == ())
    assert not closed(*box, "1.6", "2.6", 1)


def test_an_answer_without_proof_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """By counting: 3 % steps from 2.2 to 6.5 need 36 ratios, so at least 6 × 6 gears, 2 owned."""
    monkeypatch.setattr("pitapp.gearing.purchases.FURTHER_STEPS", 0)
    found = purchases([40], [70], range(20, 60), range(60, 100), 2.2, 6.5, 3, 1.9)
    assert found.gears >= 10
    assert not found.proved_minimal
    options = gear_options([40, *found.pinions], [70, *found.spurs], 1.9)
    assert gaps(options, 2.2, 6.5, 3) == []


def test_every_public_name_is_offered() -> None:
    assert {name for name in gearing.__all__ if not hasattr(gearing, name)} == set()
    assert {"final_drive_ratio", "gear_options", "gaps", "purchases"} <= set(gearing.__all__)

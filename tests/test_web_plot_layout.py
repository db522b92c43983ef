"""Plots: round ticks, points in their place, nothing by colour alone, every number in the table."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from flask import Flask, render_template_string
from hypothesis import given, settings
from hypothesis import strategies as st

from pitapp.web.view.plot import SHAPES, Axis, Level, Point, Series, clock_axis, plot
from pitapp.web.view.ticks import clock_ticks, decimals, nice_ticks, widened
from tests.support import one_space

X, Y = Axis("FDR", digits=2), Axis("can", "°C", digits=0)
SIZES = st.floats(-1e9, 1e9, allow_nan=False)


@settings(max_examples=300, deadline=None)
@given(low=SIZES, span=st.floats(1e-3, 1e9), most=st.integers(2, 8))
def test_ticks_are_round_even_and_inside(low: float, span: float, most: int) -> None:
    high = low + span
    ticks = nice_ticks(low, high, most)
    assert 1 <= len(ticks) <= max(2, most)
    slack = 1e-6 * max(1.0, abs(low), abs(high))
    assert all(low - slack <= tick <= high + slack for tick in ticks)
    steps = [b - a for a, b in pairwise(ticks)]
    if len(ticks) > 2 and span > 1e-5 * abs(low):
        assert max(steps) - min(steps) <= 1e-5 * max(1.0, max(steps))
        mantissa = steps[0] / 10 ** math.floor(math.log10(steps[0]) + 1e-9)
        assert any(math.isclose(mantissa, round_, rel_tol=1e-4) for round_ in (1, 2, 2.5, 5, 10))


@pytest.mark.parametrize(
    ("low", "high", "most", "ticks"),
    [(0, 10, 6, [0, 2, 4, 6, 8, 10]), (0, 1, 5, [0, 0.25, 0.5, 0.75, 1]), (-7, 7, 3, [-5, 0, 5])],
)
def test_ticks_by_hand(low: float, high: float, most: int, ticks: list[float]) -> None:
    assert nice_ticks(low, high, most) == ticks


def test_an_axis_without_a_range_is_refused() -> None:
    with pytest.raises(ValueError, match="range"):
        nice_ticks(2, 2, 4)


def test_one_value_gets_a_range_about_it() -> None:
    assert widened([2.8, 2.8]) == pytest.approx((2.66, 2.94))
    assert widened([0.0]) == (0.0, 0.5)


def test_an_axis_goes_below_zero_only_where_a_value_does() -> None:
    assert widened([0.0, 40.0])[0] == 0
    assert widened([2.0, 100.0])[0] == 0
    assert widened([-0.1, 40.0])[0] < -0.1


def test_decimals_are_as_many_as_needed() -> None:
    assert decimals([0.125, 0.25]) == 3
    assert decimals([1e9]) == 0
    assert decimals([math.pi]) == 9


def test_the_time_of_day_is_round_on_the_wall_clock() -> None:
    """Kathmandu is 5 h 45 min ahead of UTC, so whole hours there are quarter hours in UTC."""
    zone = ZoneInfo("Asia/Kathmandu")
    start = datetime(2026, 5, 3, 3, 0, tzinfo=UTC)
    ticks = clock_ticks(start.timestamp(), (start + timedelta(hours=7)).timestamp(), 5, zone)
    shown = [datetime.fromtimestamp(tick, zone) for tick in ticks]
    assert 3 <= len(shown) <= 5
    assert all(moment.minute == 0 for moment in shown)


def test_points_stand_where_their_values_are() -> None:
    drawn = plot("p", "t", X, Y, [Series("a", [Point(1, 10), Point(2, 20), Point(3, 30)])])
    (x1, y1), (x2, y2), (x3, y3) = drawn.series[0].marks
    assert x2 - x1 == pytest.approx(x3 - x2, abs=0.11)
    assert y1 - y2 == pytest.approx(y2 - y3, abs=0.11)
    assert x1 < x2 < x3
    assert y1 > y2 > y3
    assert all(drawn.left <= x <= drawn.right for x, _ in drawn.series[0].marks)
    assert all(drawn.top <= y <= drawn.bottom for _, y in drawn.series[0].marks)
    tick = next(tick for tick in drawn.x_ticks if float(tick.label) == 2)
    assert tick.at == x2


def test_levels_are_inside_even_above_all_points() -> None:
    drawn = plot("p", "t", X, Y, [Series("a", [Point(1, 10)])], levels=[Level(80, "limit")])
    assert drawn.top <= drawn.levels[0].at < drawn.series[0].marks[0][1]
    assert drawn.top <= drawn.levels[0].label_at <= drawn.bottom


@pytest.mark.parametrize("high", [5e-324, 1e-310, 1e-307])
def test_a_range_that_is_hardly_one_is_drawn(high: float) -> None:
    assert nice_ticks(0.0, high, 4) == [0.0, high] or len(nice_ticks(0.0, high, 4)) > 2
    assert plot("p", "t", X, Y, [Series("a", [Point(0.0, 0.0), Point(high, high)])]).x_ticks


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(SIZES, SIZES), min_size=1, max_size=20),
    st.sampled_from([0, 1, 2, None]),
)
def test_labels_do_not_meet_at_any_size(values: list[tuple[float, float]], digits: int) -> None:
    axis = Axis("x", digits=digits)
    drawn = plot("p", "t", axis, axis, [Series("a", [Point(*value) for value in values])])
    for one, other in pairwise(drawn.x_ticks):
        assert (
            other.at - one.at >= 5 * max(len(one.label), len(other.label))
            or len(drawn.x_ticks) == 2
        )
    assert all(-20 <= x <= drawn.width for x, _ in drawn.series[0].marks)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e13])
@pytest.mark.parametrize("place", [lambda bad: (bad, 1.0), lambda bad: (1.0, bad)])
def test_impossible_values_are_refused(bad: float, place) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="value of a"):
        plot("p", "t", X, Y, [Series("a", line=[place(bad)])])


def test_more_series_than_marks_are_refused() -> None:
    many = [Series(str(i), [Point(i, i)]) for i in range(len(SHAPES) + 1)]
    with pytest.raises(ValueError, match="apart"):
        plot("p", "t", X, Y, many)


def test_the_page_says_all_that_the_drawing_shows(app: Flask) -> None:
    drawn = plot(
        "heat",
        "Can by FDR <now>",
        X,
        Y,
        [
            Series(
                "Invented TC", [Point(2.8, 64, "3 May", "/runs/1"), Point(2.9, 58)], joined=True
            ),
            Series("Invented Compact", [Point(2.7, 71)]),
            Series("model", line=[(2.7, 60), (2.9, 50)]),
        ],
        levels=[Level(80, "limit")],
        summary="Longer is hotter.",
    )
    with app.test_request_context():
        page = one_space(render_template_string("{{ draw(plot) }}", plot=drawn))
    assert "Can by FDR &lt;now&gt;" in page
    assert 'aria-describedby="heat-summary"' in page
    assert '<a class="plot-more" href="/runs/1">3 May</a>' in page
    for cell in ("2.80", "64", "2.90", "58", "2.70", "71"):
        assert f"<td>{cell}</td>" in page
    assert page.count('scope="rowgroup"') == 2
    legend = page[page.index("plot-legend") : page.index("</ul>")]
    marks = re.findall(r'd="(M[^"]+)"', legend)
    assert len(set(marks)) == len(marks) - 1, "two marks and the same stretch of line twice"
    assert "style=" not in page


def test_nothing_is_said_to_be_nothing(app: Flask) -> None:
    with app.test_request_context():
        page = render_template_string("{{ draw(plot) }}", plot=plot("p", "Title", X, Y, []))
    assert "Nothing to plot yet." in page
    assert "<svg" not in page


def test_values_are_written_as_the_axis_has_them() -> None:
    assert Axis("a").written(-2.50000001) == "−2.5"
    assert Axis("a", digits=1).written(-0.01) == "0.0"
    assert clock_axis("time", UTC).written(3600) == "01:00"
    assert Axis("speed", "km/h").title == "speed, km/h"

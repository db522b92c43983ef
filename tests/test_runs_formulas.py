"""Times and set-up lists, read and written."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from werkzeug.datastructures import MultiDict
from wtforms import Form

from pitapp.runs.fields import TimeField
from pitapp.runs.formulas import SetupLine, parse_setup, parse_time_s, time_text
from pitapp.runs.models import SetupEntry


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("14.87", 14.87),
        ("14,876", 14.876),
        (" 15 ", 15),
        ("5:12.4", 312.4),
        ("5:12,4", 312.4),
        ("5.12.4", 312.4),
        ("5,12,4", 312.4),
        ("1:02:05", 3725),
        ("300", 300),
        ("90:00", 5400),
    ],
)
def test_times_as_they_are_typed(text: str, seconds: float) -> None:
    assert parse_time_s(text) == pytest.approx(seconds, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "fast",
        "-14",
        "5:72",
        "5:1:72",
        "1:60:00",
        "14.8.7.1",
        "1e5",
        "🏎",
        "99999999",
        "nan",
        ":5",
    ],
)
def test_what_is_no_time(text: str) -> None:
    with pytest.raises(ValueError, match=r"time|60"):
        parse_time_s(text)


@settings(max_examples=150)
@given(st.integers(0, 86_399_999))
def test_times_against_the_standard_librarys(milliseconds: int) -> None:
    """`timedelta` writes H:MM:SS.ffffff; the same digits must come out, and be read back."""
    text = time_text(milliseconds / 1000)
    assert parse_time_s(text) == pytest.approx(milliseconds / 1000, abs=1e-9)
    whole = str(timedelta(milliseconds=milliseconds))
    if milliseconds >= 3_600_000:
        digits = whole if "." in whole else f"{whole}."
        assert text.rstrip("0") == digits.rstrip("0")


@pytest.mark.parametrize(("seconds", "text"), [(59.9996, "1:00.00"), (0, "0.00"), (0.1, "0.10")])
def test_rounding_carries_over(seconds: float, text: str) -> None:
    assert time_text(seconds) == text


@pytest.mark.parametrize("seconds", [-1, float("nan"), float("inf"), 86_401])
def test_no_time_to_write(seconds: float) -> None:
    with pytest.raises(ValueError, match="time"):
        time_text(seconds)


@pytest.mark.parametrize(
    ("line", "entry"),
    [
        ("Ride height 5.2 mm", ("Ride height", "5.2", "mm")),
        ("Ride height 5,2mm", ("Ride height", "5,2", "mm")),
        ("Camber −1.5°", ("Camber", "−1.5", "°")),
        ("Springs = soft", ("Springs", "soft", "")),
        ("Springs = 2.6 N/mm", ("Springs", "2.6", "N/mm")),
        ("Shim 2 = 0.5 mm", ("Shim 2", "0.5", "mm")),
        ("Ackermann", ("Ackermann", "", "")),
        ("Kick-up 3/4", ("Kick-up", "3/4", "")),
        ("Oil 350 cSt", ("Oil", "350", "cSt")),
        ("Wing =", ("Wing", "", "")),
    ],
)
def test_lines_of_a_set_up(line: str, entry: tuple[str, str, str]) -> None:
    assert parse_setup(line) == [SetupLine("", *entry)]


def test_groups_and_empty_lines() -> None:
    found = parse_setup("Body 1\n\nFront:\n Springs 2.6 \nRear :\nSprings 2.4")
    assert [(one.group, one.name) for one in found] == [
        ("", "Body"),
        ("Front", "Springs"),
        ("Rear", "Springs"),
    ]


@pytest.mark.parametrize(
    "text", ["", " \n ", "Front:", "= 5 mm", "x" * 61, "a = " + "b" * 61, "y" * 61 + ":\na 1"]
)
def test_lists_that_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"entry|long|name"):
        parse_setup(text)


def test_too_long_a_list_is_refused() -> None:
    with pytest.raises(ValueError, match="200"):
        parse_setup("\n".join(f"Entry {'a' * number} 1" for number in range(1, 40)) + "\nB 1" * 162)


@pytest.mark.parametrize(
    ("value", "step", "less", "more"),
    [
        ("5.4", None, "5.3", "5.5"),
        ("5,40", None, "5.39", "5.41"),
        ("35", None, "34", "36"),
        ("35", 5, "30", "40"),
        ("-0.5", 0.5, "-1.0", "0.0"),
        ("2.60", 0.2, "2.40", "2.80"),
    ],
)
def test_a_value_in_steps(value: str, step: float | None, less: str, more: str) -> None:
    entry = SetupEntry(car_id=1, name="Any", value=value, step_size=step)
    assert (entry.nudged(-1), entry.nudged(1)) == (less, more)


def test_a_word_has_no_steps() -> None:
    with pytest.raises(ValueError, match="number"):
        SetupEntry(car_id=1, name="Any", value="soft").nudged(1)


@pytest.mark.parametrize(
    ("text", "sensible", "seconds"),
    [
        ("5.02", (60, 7200), 302),
        ("5,02", (60, 7200), 302),
        ("5.02", (4, 180), 5.02),
        ("1.02", (4, 180), 62),
        ("14.87", (4, 180), 14.87),
        ("5.2", (60, 7200), 5.2),
        ("5.02.3", (60, 7200), 302.3),
        ("0:30.50", (60, 7200), 30.5),
    ],
)
def test_a_point_for_a_colon_is_read_by_what_the_time_can_be(
    text: str, sensible: tuple[float, float], seconds: float
) -> None:
    assert parse_time_s(text, sensible) == seconds


@given(st.integers(1, 7_200_000))
def test_a_time_in_its_field_is_read_back(thousandths: int) -> None:
    class TimesForm(Form):
        run_s = TimeField("Time", sensible=(60, 7200))
        best_lap_s = TimeField("Best lap", sensible=(4, 180))

    seconds = thousandths / 1000
    shown = TimesForm(run_s=seconds, best_lap_s=seconds)
    for name in ("run_s", "best_lap_s"):
        form = TimesForm(MultiDict({name: shown[name]._value()}))
        assert form[name].data == seconds

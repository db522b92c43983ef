"""Units against scipy.constants (CODATA and the exact definitions)."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from pitapp.units import LARGEST, UNITS, convert, rounded_text, units_of

# scipy.constants: kilometre per hour, mile per hour, inch, foot, ounce and pound in SI units.
SCIPY = {
    ("km/h", "m/s"): constants.kmh,
    ("mph", "m/s"): constants.mph,
    ("mph", "km/h"): constants.mph / constants.kmh,
    ("in", "mm"): constants.inch / constants.milli,
    ("in", "m"): constants.inch,
    ("ft", "m"): constants.foot,
    ("ft", "in"): constants.foot / constants.inch,
    ("cm", "mm"): constants.centi / constants.milli,
    ("oz", "g"): constants.oz / constants.gram,
    ("lb", "g"): constants.lb / constants.gram,
    ("lb", "oz"): constants.lb / constants.oz,
    ("kg", "g"): 1 / constants.gram,
    ("°F rise", "K"): constants.degree_Fahrenheit,
}
ANYTHING = st.one_of(
    st.floats(), st.integers(), st.booleans(), st.text(max_size=6), st.none(), st.binary(max_size=3)
)
PAIRS = [(a, b) for a, b in product(UNITS, UNITS) if UNITS[a].quantity == UNITS[b].quantity]


def outcome(function: Callable[..., Any], *args: Any) -> Any:
    """Return the answer, or the sentence of the ValueError."""
    try:
        return function(*args)
    except ValueError as error:
        return str(error)


def is_fair(result: Any) -> bool:
    """Tell whether it is a finite number or a sentence."""
    if isinstance(result, str):
        return result[0].isupper() and result.endswith(".") and len(result) > 20
    return math.isfinite(result)


@pytest.mark.parametrize(("units", "factor"), SCIPY.items(), ids=lambda v: str(v))
def test_factors_are_scipys(units: tuple[str, str], factor: float) -> None:
    source, target = units
    for value in (1.0, 37.25, -12.5, 99999.0):
        assert convert(value, source, target) == pytest.approx(value * factor, rel=1e-14)
        assert convert(value, target, source) == pytest.approx(value / factor, rel=1e-14)


@pytest.mark.parametrize("fahrenheit", [-40.0, 0.0, 32.0, 98.6, 140.0, 212.0])
def test_temperatures_are_scipys(fahrenheit: float) -> None:
    celsius = float(constants.convert_temperature(fahrenheit, "Fahrenheit", "Celsius"))
    assert convert(fahrenheit, "°F", "°C") == pytest.approx(celsius, abs=1e-12)
    assert convert(celsius, "°C", "°F") == pytest.approx(fahrenheit, abs=1e-12)


def test_published_definitions_are_exact() -> None:
    """NIST Special Publication 811, appendix B: the factors in bold there are exact."""
    assert convert(1, "mph", "m/s") == 0.44704
    assert convert(1, "in", "mm") == 25.4
    assert convert(1, "ft", "m") == 0.3048
    assert convert(1, "oz", "g") == 28.349523125
    assert convert(1, "lb", "g") == 453.59237
    assert convert(-40, "°C", "°F") == -40
    assert convert(0, "°C", "°F") == 32
    assert convert(100, "°C", "°F") == 212


def test_a_rise_has_no_zero_point() -> None:
    """By hand: 10 K hotter is 18 °F hotter, and no hotter is no hotter."""
    assert convert(10, "K", "°F rise") == 18
    assert convert(0, "K", "°F rise") == 0


@pytest.mark.parametrize("units", PAIRS, ids=lambda pair: f"{pair[0]}-{pair[1]}")
@given(value=st.floats(0, 999))
def test_there_and_back_is_the_same(units: tuple[str, str], value: float) -> None:
    source, target = units
    other = float(
        (Fraction(value) + UNITS[source].shift) * UNITS[source].scale / UNITS[target].scale
        - UNITS[target].shift
    )
    if abs(other) <= LARGEST:
        back = convert(convert(value, source, target), target, source)
        assert back == pytest.approx(value, rel=1e-12, abs=1e-12)


def test_quantities_have_their_units() -> None:
    assert units_of("length") == ("m", "cm", "mm", "in", "ft")
    assert units_of("temperature") == ("°C", "°F")
    with pytest.raises(ValueError, match=r"^There is no quantity named 'colour' here\.$"):
        units_of("colour")


@pytest.mark.parametrize(
    ("args", "sentence"),
    [
        ((1, "mph", "furlong"), "There is no unit named 'furlong' here."),
        ((1, [], "mm"), "There is no unit named [] here."),
        ((1, "g", "mm"), "A mass in g cannot be turned into a length in mm."),
        ((1, "°C", "K"), "A temperature in °C cannot be turned into a "
         "temperature rise in K."),
        ((-300, "°C", "°F"), "Nothing is as cold as -300 °C."),
        ((-500, "°F", "°C"), "Nothing is as cold as -500 °F."),
        ((math.nan, "g", "oz"), "The mass must be a finite number."),
        ((True, "g", "oz"), "The mass must be a number."),
        ((1e7, "mm", "in"), "The length must be at most 999999 mm (1e+07 was given)."),
    ],
)  # fmt: skip
def test_impossible_conversions_say_why(args: tuple[Any, ...], sentence: str) -> None:
    with pytest.raises(ValueError) as caught:  # noqa: PT011 (the sentence is compared below)
        convert(*args)
    assert str(caught.value) == sentence


@given(ANYTHING, st.sampled_from(list(UNITS)), st.sampled_from(list(UNITS)))
def test_any_input_gives_a_finite_figure_or_a_sentence(value: Any, source: str, to: str) -> None:
    assert is_fair(outcome(convert, value, source, to))


@given(st.floats(-LARGEST, LARGEST), st.integers(0, 6))
def test_rounded_text_is_the_nearest(value: float, decimals: int) -> None:
    text = rounded_text(value, decimals)
    assert abs(Fraction(text) - Fraction(value)) <= Fraction(1, 2 * 10**decimals)
    assert len(text.partition(".")[2]) == decimals


@given(ANYTHING, ANYTHING)
def test_rounded_text_refuses_with_a_sentence(value: Any, decimals: Any) -> None:
    result = outcome(rounded_text, value, decimals)
    assert is_fair(result) or math.isfinite(float(result))

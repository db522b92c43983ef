"""Pitch, revs and speed beside published formulas and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from pitapp.sound import formulas

A4_HZ = 440.0


def test_sound_is_as_fast_as_the_standard_says() -> None:
    """ISO 9613-1: 343.2 m/s at 20 °C; by the gas law with its γ and R the same to 0.1 %."""
    assert formulas.speed_of_sound_m_s(20) == pytest.approx(343.2)
    for air_c in (-20, 0, 15, 40):
        kelvin = constants.convert_temperature(air_c, "Celsius", "Kelvin")
        gas_law = np.sqrt(1.4 * constants.R * kelvin / 0.0289647)
        assert formulas.speed_of_sound_m_s(air_c) == pytest.approx(gas_law, rel=1e-3)


def test_ten_kelvin_are_1_7_percent_of_a_speed() -> None:
    warm, cool = formulas.speed_of_sound_m_s(30), formulas.speed_of_sound_m_s(20)
    assert 100 * (warm / cool - 1) == pytest.approx(1.7, abs=0.05)


def test_a_whistle_comes_and_goes() -> None:
    """Doppler's formula: 1000 Hz at 30 m/s with c = 340 m/s is heard at 1096.77 and 918.92 Hz."""
    assert formulas.doppler_hz(1000, 30, 340) == pytest.approx(1096.77, abs=0.005)
    assert formulas.doppler_hz(1000, -30, 340) == pytest.approx(918.92, abs=0.005)


@given(st.floats(50, 15_000), st.floats(0.1, 60), st.floats(300, 360))
def test_the_speed_comes_back_from_both_pitches(hz: float, speed: float, c: float) -> None:
    pitches = formulas.doppler_hz(hz, speed, c), formulas.doppler_hz(hz, -speed, c)
    assert formulas.passing_speed_m_s(*pitches, c) == pytest.approx(speed, rel=1e-9)


def test_a_semitone_down_is_a_known_speed() -> None:
    """Equal temperament: a pass that falls by k semitones is c·tanh(k·ln 2/24), for k = 1 and 2."""
    for k in (1, 2):
        low, high = A4_HZ, A4_HZ * 2 ** (k / 12)
        expected = 343.2 * np.tanh(k * np.log(2) / 24)
        assert formulas.passing_speed_m_s(high, low, 343.2) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("rpm", "spread", "side"),
    [(14_540, 15, "under"), (14_571, 15, "near"), (14_569, 15, "under"), (14_600, 0, "near"),
     (14_631, 15, "over"), (14_629, 15, "near")],
)  # fmt: skip
def test_a_side_is_named_only_beyond_two_spreads(rpm: float, spread: float, side: str) -> None:
    assert formulas.side_of_limit(rpm, spread, 14_600) == side


def test_the_band_holds_every_motor_that_was_typed_a_little_wrong() -> None:
    """Kv 10 % and volts 5 % off either way, and up to 5 % lost running free."""
    rpm = 17_560.0
    for lost in (0.95, 1.0):
        for kv_off in (0.9, 1.1):
            for volts_off in (0.95, 1.05):
                kv, volts = rpm / 7.4 / lost * kv_off, 7.4 * volts_off
                low, high = formulas.free_rpm_band(kv, volts)
                assert low <= rpm <= high


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_impossible_figures_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="must be"):
        formulas.free_rpm_band(bad, 7.4)
    with pytest.raises(ValueError, match="must be"):
        formulas.side_of_limit(14_600, bad, 14_600)
    with pytest.raises(ValueError, match="instrument"):
        formulas.percent_off(17_560, min(bad, 0.0) if bad < 0 else float("nan"))
    with pytest.raises(ValueError, match="fast"):
        formulas.doppler_hz(100, 400, 340)
    with pytest.raises(ValueError, match="lower after"):
        formulas.passing_speed_m_s(400, 500, 340)

"""Listening in every engine, with a sound file rendered in the place of the microphone.

`e2e/test_sound.py` has Chromium's own made-up microphone; the other engines have none.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from e2e.pages.sound import imitate_microphone
from e2e.server import Live, rows
from e2e.test_sound_passing_screen import car_id, fill_in, three
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from tests.sounds import RATE, write_wav
from tests.sounds.motors import motor
from tests.sounds.noises import mixture, through_phone
from tests.sounds.passes import Listening
from tests.support import RACE_MORNING

__all__ = ["car_id", "three"]
pytestmark = pytest.mark.every_engine

RPM, VOLTS, KV, LIMIT = 17_560.0, "7.4", 2380, 14_600
PATIENCE_MS = 90_000


@pytest.fixture
def motor_id(live: Live) -> int:
    with live.app.app_context():
        db = live.app.extensions["pitapp.db"].connection()
        motor_id, _ = kit.save_motor(db, Motor(name="Invented 21.5", kv_rpm_per_v=KV), RACE_MORNING)
        car = Car(name="Invented car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
        kit.save_car(db, car.model_copy(update={"motor_id": motor_id}), RACE_MORNING)
    return motor_id


def sound_of(folder: Path, rpm: float, pinion: int | None = None) -> tuple[Path, float]:
    """Eight seconds of a motor in 6 dB of noise, as a file, with its mean rpm."""
    rng = np.random.default_rng(77)
    count = 8 * RATE
    sound, mean = motor(rng, rpm, 2, count, pinion)
    heard = through_phone(rng, sound + 0.5 * mixture(rng, count))
    return write_wav(folder / "motor.wav", heard), mean


def test_a_free_motor_s_revs_are_heard_and_saved(
    live: Live, motor_id: int, page: Page, tmp_path: Path
) -> None:
    sound, rpm = sound_of(tmp_path, RPM)
    imitate_microphone(page, sound)
    page.goto(f"{live.url}/sound/bench?motor={motor_id}")
    page.locator("#volts").fill(VOLTS)
    page.locator("#ear-start").tap()
    expect(page.locator("#ear-says")).to_contain_text("rpm, steady. Kv", timeout=PATIENCE_MS)
    page.get_by_role("button", name="Save as bench check").tap()
    expect(page.locator("#heard-spread")).to_be_visible()
    ((saved, spread),) = rows(live, "SELECT free_rpm, heard_spread_rpm FROM motor_checks")
    assert saved == pytest.approx(rpm, rel=0.002)
    assert 0 < spread < 0.01 * rpm


def test_the_rev_limit_is_heard_and_saved(
    live: Live, motor_id: int, page: Page, tmp_path: Path
) -> None:
    sound, rpm = sound_of(tmp_path, 0.99 * LIMIT, pinion=40)
    imitate_microphone(page, sound)
    page.goto(f"{live.url}/sound/limit")
    page.locator("#limit_rpm").fill(str(LIMIT))
    page.locator("#ear-start").tap()
    expect(page.locator("#ear-says")).to_contain_text(": under it", timeout=PATIENCE_MS)
    page.locator("#ear-start").tap()
    expect(page.locator("#ear-start")).to_have_text("Listen again")
    page.get_by_role("button", name="Save as own check").tap()
    expect(page.locator("#own-check")).to_be_visible()
    ((saved, limit),) = rows(live, "SELECT rpm, limit_rpm FROM rev_checks")
    assert saved == pytest.approx(rpm, rel=0.002)
    assert limit == LIMIT


def test_a_pass_is_heard_and_its_speed_filled_in(
    live: Live, car_id: int, page: Page, three: tuple[Path, Listening]
) -> None:
    sound, made = three
    imitate_microphone(page, sound)
    page.goto(f"{live.url}/sound/passing")
    fill_in(page, made)
    page.locator("#ear-start").tap()
    expect(page.locator("#passes li").nth(1)).to_be_visible(timeout=PATIENCE_MS)
    page.locator("#ear-start").tap()
    expect(page.locator("#ear-start")).to_have_text("Listen again")
    heard_kmh = float(page.locator("#top_speed_kmh").input_value())
    mean_kmh = 3.6 * float(np.mean([each.speed_m_s for each in made.passes]))
    assert heard_kmh == pytest.approx(mean_kmh, rel=0.05)

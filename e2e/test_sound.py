"""Revs by ear in a real browser with a sound file as its microphone, from the tap to the saved figure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from e2e import a11y
from e2e.pages.sound import Listens
from e2e.server import Live, rows
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from tests.sounds import RATE, write_wav
from tests.sounds.motors import motor
from tests.sounds.noises import mixture, through_phone
from tests.support import RACE_MORNING

RPM, VOLTS, KV = 17_560.0, "7.4", 2380
PATIENCE_MS = 60_000


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """Eight seconds of a motor in 6 dB of noise, as a file, with its mean rpm."""
    rng = np.random.default_rng(77)
    count = 8 * RATE
    sound, rpm = motor(rng, RPM, 2, count)
    heard = through_phone(rng, sound + 0.5 * mixture(rng, count))
    return write_wav(tmp_path_factory.mktemp("sound") / "motor.wav", heard), rpm


@pytest.fixture
def motor_id(live: Live) -> int:
    with live.app.app_context():
        db = live.app.extensions["pitapp.db"].connection()
        own = Motor(name="Invented 21.5", kv_rpm_per_v=KV)
        return kit.save_motor(db, own, RACE_MORNING)[0]


def heard_rpm(page: Page) -> float:
    return float(page.locator("#free_rpm").input_value() or "nan")


def test_a_motor_is_heard_and_saved_as_a_check(
    live: Live, motor_id: int, listens: Listens, standing: tuple[Path, float]
) -> None:
    sound, rpm = standing
    with listens(sound) as page:
        page.goto(f"{live.url}/bench/motors/{motor_id}")
        page.get_by_role("link", name="Revs by ear").tap()
        says = page.locator("#ear-says")
        page.locator("#ear-start").tap()
        expect(says).to_contain_text("First the voltage")
        page.locator("#volts").fill(VOLTS)
        page.locator("#ear-start").tap()
        expect(says).to_contain_text("rpm, steady. Kv", timeout=PATIENCE_MS)
        a11y.check(page)
        page.get_by_role("button", name="Save as bench check").tap()
        expect(page.locator("#heard-spread")).to_be_visible()
        kv = float(page.locator("#kv").get_attribute("value") or "nan")
    assert kv == pytest.approx(rpm / float(VOLTS), rel=0.002)
    ((saved, spread),) = rows(live, "SELECT free_rpm, heard_spread_rpm FROM motor_checks")
    assert saved == pytest.approx(rpm, rel=0.002)
    assert 0 < spread < 0.01 * rpm


def test_what_is_typed_stays_and_is_not_called_heard(
    live: Live, motor_id: int, listens: Listens, standing: tuple[Path, float]
) -> None:
    with listens(standing[0]) as page:
        page.goto(f"{live.url}/sound/bench?motor={motor_id}")
        page.locator("#volts").fill(VOLTS)
        page.locator("#free_rpm").fill("17 610")
        page.locator("#ear-start").tap()
        expect(page.locator("#ear-says")).to_contain_text("steady", timeout=PATIENCE_MS)
        assert page.locator("#free_rpm").input_value() == "17 610"
        page.get_by_role("button", name="Save as bench check").tap()
        expect(page.locator("#kv")).to_be_visible()
    assert rows(live, "SELECT free_rpm, heard_spread_rpm FROM motor_checks") == [(17610.0, None)]


def test_listening_again_counts_as_the_first_time(
    live: Live, motor_id: int, listens: Listens, standing: tuple[Path, float]
) -> None:
    with listens(standing[0]) as page:
        page.goto(f"{live.url}/sound/bench?motor={motor_id}")
        page.locator("#volts").fill(VOLTS)
        for _ in range(2):
            page.locator("#ear-start").tap()
            expect(page.locator("#ear-start")).to_have_text("Stop")
            expect(page.locator("#ear-says")).to_contain_text("steady", timeout=PATIENCE_MS)
            page.locator("#ear-start").tap()
            expect(page.locator("#ear-start")).to_have_text("Listen again")
            expect(page.locator("#ear-says")).to_contain_text("steady")
        assert page.locator("#heard_spread_rpm").input_value() != ""


def test_a_motor_elsewhere_than_kv_and_voltage_allow_is_not_taken(
    live: Live, motor_id: int, listens: Listens, standing: tuple[Path, float]
) -> None:
    with listens(standing[0]) as page:
        page.goto(f"{live.url}/sound/bench?motor={motor_id}")
        page.locator("#volts").fill("3.9")
        page.locator("#ear-start").tap()
        expect(page.locator("#ear-says")).to_contain_text("Not sure", timeout=PATIENCE_MS)
        assert page.locator("#free_rpm").input_value() == ""


@pytest.fixture
def silence(tmp_path: Path) -> Path:
    return write_wav(tmp_path / "silence.wav", np.zeros(4 * RATE))


def test_a_silent_microphone_is_said_and_typing_goes_on(
    live: Live, motor_id: int, listens: Listens, silence: Path
) -> None:
    with listens(silence) as page:
        page.goto(f"{live.url}/sound/bench?motor={motor_id}")
        page.locator("#volts").fill(VOLTS)
        page.locator("#ear-start").tap()
        expect(page.locator("#ear-says")).to_contain_text("Nothing comes from", timeout=PATIENCE_MS)
        typed_instead(page, live)


@pytest.mark.parametrize(("refused", "said"), [(True, "refused"), (False, "no microphone")])
def test_no_microphone_is_said_and_typing_goes_on(
    live: Live, motor_id: int, listens: Listens, refused: bool, said: str
) -> None:
    with listens(None, refused=refused) as page:
        page.goto(f"{live.url}/sound/bench?motor={motor_id}")
        page.locator("#volts").fill(VOLTS)
        page.locator("#ear-start").tap()
        expect(page.locator("#ear-says")).to_contain_text(said, timeout=PATIENCE_MS)
        typed_instead(page, live)


def typed_instead(page: Page, live: Live) -> None:
    page.locator("#free_rpm").fill("17600")
    page.get_by_role("button", name="Save as bench check").tap()
    expect(page.locator("#kv")).to_be_visible()
    assert rows(live, "SELECT free_rpm, heard_spread_rpm FROM motor_checks") == [(17600.0, None)]


LIMIT = 14_600


@pytest.fixture(scope="module")
def limited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A car on its rev limiter 0.5 % under the limit, with the mesh of a 40-tooth pinion."""
    rng = np.random.default_rng(78)
    count = 8 * RATE
    sound, _ = motor(rng, LIMIT * 0.995, 2, count, 40)
    heard = through_phone(rng, sound + 0.5 * mixture(rng, count))
    return write_wav(tmp_path_factory.mktemp("sound") / "limited.wav", heard)


def test_the_rev_limit_is_checked_and_stands_on_the_card(
    live: Live, motor_id: int, listens: Listens, limited: Path
) -> None:
    with live.app.app_context():
        db = live.app.extensions["pitapp.db"].connection()
        car = Car(name="Invented car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
        kit.save_car(db, car.model_copy(update={"motor_id": motor_id}), RACE_MORNING)
    with listens(limited) as page:
        page.goto(f"{live.url}/checks")
        page.get_by_role("link", name="Rev limit by ear").tap()
        page.locator("#limit_rpm").fill(str(LIMIT))
        page.locator("#ear-start").tap()
        expect(page.locator("#ear-says")).to_contain_text(": under it", timeout=PATIENCE_MS)
        a11y.check(page)
        page.get_by_role("button", name="Save as own check").tap()
        own = page.locator("#own-check")
        expect(own).to_be_visible()
        rpm = float(own.get_attribute("value") or "nan")
        a11y.check(page)
    assert rpm == pytest.approx(LIMIT * 0.995, rel=0.002)
    ((saved, limit),) = rows(live, "SELECT rpm, limit_rpm FROM rev_checks")
    assert (saved, limit) == (rpm, LIMIT)

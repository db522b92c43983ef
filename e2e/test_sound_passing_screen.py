"""A car that passes, heard in a real browser with a sound file as its microphone: from the tap to the run's page."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from e2e import a11y
from e2e.pages.offline import Phone, visit_once
from e2e.pages.sound import Listens
from e2e.server import Live, ServerProcess, rows
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.runs import store as runs
from pitapp.runs.models import FittedCar, Run, Snapshot
from tests.sounds import RATE, write_wav
from tests.sounds.passes import Listening, listening
from tests.support import RACE_MORNING

PATIENCE_MS = 150_000
SEED = 500_321
KEPT = """async () => {
    const shell = (await caches.keys()).find((name) => name.startsWith("shell"));
    const kept = (await (await caches.open(shell)).keys()).map(({url}) => url.split("?")[0].split("/passing/")[1]);
    return ["screen.js", "worker.js", "passes.js", "fit.js", "geometry.js"].every((name) => kept.includes(name));
}"""
SNR_DB = 20.0


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Listening]:
    """Three passes of one car with a two-pole motor, as a file."""
    made = next(
        made
        for seed in range(SEED, SEED + 50)
        if (made := listening(seed, SNR_DB, passes=3)).poles == 2
    )
    return write_wav(tmp_path_factory.mktemp("sound") / "passes.wav", made.samples), made


@pytest.fixture
def car_id(live: Live, three: tuple[Path, Listening]) -> int:
    with live.app.app_context():
        db = live.app.extensions["pitapp.db"].connection()
        motor_id, _ = kit.save_motor(
            db, Motor(name="Invented 4.5", kv_rpm_per_v=5000), RACE_MORNING
        )
        car = Car(
            name="Invented car",
            internal_ratio=1.9,
            pitch="dp:64",
            tyre_diameter_mm=63,
            motor_id=motor_id,
        )
        car_id, _ = kit.save_car(db, car, RACE_MORNING)
        own = car.model_copy(update={"id": car_id})
        gearing.fit(db, own, three[1].pinion, 66, RACE_MORNING)
        run = Run(
            car_id=car_id, started_at=RACE_MORNING,
            snapshot=Snapshot(car=FittedCar(id=car_id, name="Invented car")),
        )  # fmt: skip
        runs.save_run(db, run, RACE_MORNING)
    return car_id


def fill_in(page: Page, made: Listening) -> None:
    page.locator("#air_c").fill(f"{made.air_c:.1f}")
    page.locator("#rollout_mm").fill(f"{made.rollout_mm:.2f}")
    page.locator("#limit_rpm").fill(f"{made.top_rpm:.0f}")


def test_three_passes_are_heard_and_saved_with_their_run(
    live: Live, car_id: int, listens: Listens, three: tuple[Path, Listening]
) -> None:
    sound, made = three
    speed_kmh = 3.6 * float(np.mean([each.speed_m_s for each in made.passes]))
    with listens(sound) as page:
        page.goto(f"{live.url}/sound/passing")
        says, listed = page.locator("#ear-says"), page.locator("#passes li")
        page.locator("#air_c").fill("")
        page.locator("#ear-start").tap()
        expect(says).to_contain_text("First the air temperature")
        fill_in(page, made)
        page.locator("#ear-start").tap()
        expect(listed.nth(2)).to_be_visible(timeout=PATIENCE_MS)
        expect(says).to_contain_text("passes")
        page.locator("#ear-start").tap()
        expect(page.locator("#ear-start")).to_have_text("Listen again")
        each = [
            float(text) for text in re.findall(r"([\d.]+) ±", " ".join(listed.all_inner_texts()))
        ]
        assert len(each) >= 3
        nearest = [
            min(abs(one / (3.6 * real.speed_m_s) - 1) for real in made.passes) for one in each
        ]
        assert max(nearest) < 0.03
        expect(page.locator("#passes-rollout")).to_contain_text("Rollout heard")
        a11y.check(page)
        before = page.locator("#top_speed_kmh").input_value()
        listed.nth(0).get_by_role("button").tap()
        expect(page.locator("#top_speed_kmh")).not_to_have_value(before)
        listed.nth(0).get_by_role("button").tap()
        expect(page.locator("#top_speed_kmh")).to_have_value(before)
        page.locator("#run_id").select_option(index=1)
        page.get_by_role("button", name="Save with the run").tap()
        expect(page.locator("#top-speed-kmh")).to_be_visible()
        a11y.check(page)
    ((saved, spread),) = rows(live, "SELECT top_speed_kmh, top_speed_spread_kmh FROM runs")
    assert saved == pytest.approx(speed_kmh, rel=0.03)
    assert 0 < spread < 0.03 * speed_kmh


def test_what_is_typed_stays(
    live: Live, car_id: int, listens: Listens, three: tuple[Path, Listening]
) -> None:
    with listens(three[0]) as page:
        page.goto(f"{live.url}/sound/passing")
        fill_in(page, three[1])
        page.locator("#top_speed_kmh").fill("61.5")
        page.locator("#ear-start").tap()
        expect(page.locator("#passes li").nth(0)).to_be_visible(timeout=PATIENCE_MS)
        assert page.locator("#top_speed_kmh").input_value() == "61.5"
        assert page.locator("#top_speed_spread_kmh").input_value() == ""


@pytest.fixture
def silence(tmp_path: Path) -> Path:
    return write_wav(tmp_path / "silence.wav", np.zeros(4 * RATE))


@pytest.mark.parametrize("why", ["refused", "no microphone", "Nothing comes from"])
def test_no_sound_is_said_and_typing_goes_on(
    live: Live,
    car_id: int,
    listens: Listens,
    three: tuple[Path, Listening],
    silence: Path,
    why: str,
) -> None:
    sound = silence if why.startswith("Nothing") else None
    with listens(sound, refused=why == "refused") as page:
        page.goto(f"{live.url}/sound/passing")
        fill_in(page, three[1])
        page.locator("#ear-start").tap()
        expect(page.locator("#ear-says")).to_contain_text(why, timeout=PATIENCE_MS)
        page.locator("#top_speed_kmh").fill("58")
        page.locator("#run_id").select_option(index=1)
        page.get_by_role("button", name="Save with the run").tap()
        expect(page.locator("#top-speed-kmh")).to_be_visible()
    assert rows(live, "SELECT top_speed_kmh, top_speed_spread_kmh FROM runs") == [(58.0, None)]


def test_the_screen_opens_with_no_server_once_it_was_opened(
    server: ServerProcess, phone: Phone
) -> None:
    page = phone.open()
    visit_once(page, server.url)
    page.goto(f"{server.url}/sound/passing")
    expect(page.locator("#ear-start")).to_be_visible()
    page.wait_for_function(KEPT)
    server.kill()
    page.goto(f"{server.url}/sound/passing")
    expect(page.locator("#ear-start")).to_be_visible()
    page.locator("#air_c").fill("")
    page.locator("#ear-start").tap()
    expect(page.locator("#ear-says")).to_contain_text("First the air")
    assert page.evaluate("async () => (await fetch('/static/js/sound/passing/passes.js')).ok")

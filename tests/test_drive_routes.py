"""The Forecast screens as a racer, a bookmark and a script ask for them."""

from __future__ import annotations

import math
import re
import sqlite3
from datetime import timedelta
from html import unescape

import pytest

from pitapp.db import settings
from pitapp.drive import store
from pitapp.drive.forecast_context import ForecastContext
from pitapp.drive.store import About
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.packs import store as packs
from pitapp.packs.models import Pack
from pitapp.runs import store as runs
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Straight, Track
from tests.drive_racer import add_car, add_track, log_runs
from tests.support import Clock, PageClient

SCREENS = ("", "/gears", "/gear?pinion=44&spur=69", "/learned", "/what-if", "/shopping", "/figures")


def figures(page: str) -> dict[str, float]:
    found = re.findall(r'<data id="([a-z0-9-]+)"[^>]* value="([^"]*)"', page)
    return {name: float(value) for name, value in found if value}


def main(page: str) -> str:
    body = re.sub(
        r"<svg.*?</svg>", " ", page[page.index("<main") : page.index("</main>")], flags=re.S
    )
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body)))


@pytest.fixture
def car(db: sqlite3.Connection, clock: Clock) -> Car:
    return add_car(db, clock())


@pytest.fixture
def track_id(db: sqlite3.Connection, clock: Clock) -> int:
    return add_track(db, clock())


def test_an_empty_app_says_what_is_missing_with_one_tap_to_it(client: PageClient) -> None:
    for screen in SCREENS:
        answer = client.get(f"/forecast{screen}")
        assert answer.status_code == 200
        if screen != "/figures":
            assert "needs a car" in answer.text
            assert 'href="/kit/cars/new"' in answer.text


def test_what_is_missing_next(client: PageClient, db: sqlite3.Connection, clock: Clock) -> None:
    bare = Car(name="Bare", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    car_id, _ = kit.save_car(db, bare, clock())
    assert "has no motor yet" in client.get("/forecast").text
    motor = kit.save_motor(db, add_motor(), clock())[0]
    kit.save_car(db, kit.car(db, car_id).model_copy(update={"motor_id": motor}), clock())
    assert "Your gear box is empty" in client.get("/forecast").text
    kit.add_gears(db, "pinion", "dp:64", [40, 44], clock())
    assert "No 64 DP spurs in your box" in client.get("/forecast").text
    kit.add_gears(db, "spur", "dp:64", [72], clock())
    page = client.get("/forecast").text
    assert "No track is measured yet" in page
    saved = client.post_form("/forecast/feel", {"longest": "45", "corners": "tight", "track": "0"})
    assert saved.status_code == 303
    page = main(client.get("/forecast").text)
    assert "44 / 72" in page
    assert "guess from its longest straight" in page
    assert "No gear is fitted" in page


def add_motor() -> Motor:
    return Motor(name="Test motor", kv_rpm_per_v=2380)


def test_a_bad_straight_comes_back_with_a_sentence(client: PageClient, car: Car) -> None:
    for longest in ("", "0", "-4", "x", "1e9", "4,5,6", "🏁"):
        answer = client.post_form("/forecast/feel", {"longest": longest, "corners": "mixed"})
        assert answer.status_code == 422
        assert 'id="longest-error"' in answer.text
        assert f'value="{longest}"' in answer.text
    answer = client.post_form("/forecast/feel", {"longest": "40", "corners": "square"})
    assert answer.status_code == 422


def test_the_best_gear_is_forecast_and_fitted_from_here(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    log_runs(db, car, track_id, clock(), 8)
    answer = client.get("/forecast")
    found = figures(answer.text)
    assert found["lap-difference-s"] < 0
    assert 0 < found["flag-temperature-se-c"] < 10
    assert 0 < found["rev-limit-share"] <= 1.0001
    assert found["charge-mah"] > 0
    pair = re.findall(r'name="(pinion|spur)" value="(\d+)"', answer.text)
    fitted = client.post_form("/gearing/fit", dict(pair))
    assert fitted.status_code == 303
    entry = gearing.fitted(db, car.id)
    assert entry is not None
    assert {"pinion": str(entry.pinion_teeth), "spur": str(entry.spur_teeth)} == dict(pair)
    page = client.get("/forecast").text
    assert "Stay with it" in page
    assert 'action="/gearing/fit"' not in page


def test_a_fitted_gear_shows_no_difference_from_itself(
    client: PageClient, car: Car, track_id: int
) -> None:
    page = client.get("/forecast/gear?pinion=42&spur=69").text
    assert figures(page)["lap-difference-s"] == pytest.approx(0, abs=1e-12)
    assert "can at " in page


def test_the_limit_of_the_racer_rules_the_ranking(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    log_runs(db, car, track_id, clock(), 8)
    before = figures(client.get("/forecast").text)["flag-temperature-c"]
    limit = f"{before - 5:.1f}".replace(".", ",")
    saved = client.post_form("/forecast/figures/can_limit_c", {"value": limit, "measured": "yes"})
    assert saved.status_code == 303
    assert figures(client.get("/forecast").text)["flag-temperature-c"] <= before - 5
    client.post_form("/forecast/figures/can_limit_c", {"value": "30", "measured": "yes"})
    page = main(client.get("/forecast").text)
    assert "No gear here is safe" in page
    assert "over the limit of 30" in page


def verdict_of(page: str) -> tuple[str, str]:
    """(level, reason) of the first verdict on a page."""
    found = re.search(r'class="verdict verdict-(\w+)".*?<small>(.*?)</small>', page, re.S)
    assert found is not None
    return found[1], unescape(found[2])


@pytest.mark.parametrize(
    ("figure", "value"),
    [("can_limit_c", "95"), ("can_limit_c", "60"), ("capacity_mah", "")],
)
def test_the_head_is_judged_as_any_other_gear(
    client: PageClient,
    db: sqlite3.Connection,
    clock: Clock,
    car: Car,
    track_id: int,
    figure: str,
    value: str,
) -> None:
    log_runs(db, car, track_id, clock(), 8)
    if figure == "capacity_mah":
        # Over 85 % of the pack in the gear at the head.
        value = f"{figures(client.get('/forecast').text)['charge-mah'] / 0.9:.0f}"
    saved = client.post_form(f"/forecast/figures/{figure}", {"value": value, "measured": "yes"})
    assert saved.status_code == 303
    page = client.get("/forecast").text
    pinion, spur = (int(figures(page)[name]) for name in ("head-pinion", "head-spur"))
    alone = client.get(f"/forecast/gear?pinion={pinion}&spur={spur}").text
    assert verdict_of(page) == verdict_of(alone)
    said = verdict_of(page)[1]
    if figure == "can_limit_c":
        assert re.search(r"on the rev limit for \d+ m a lap", said)
    if figure == "capacity_mah":
        assert verdict_of(page)[0] == "look"
        assert re.search(r"takes \d+ % of the pack", said)


def without_air(db: sqlite3.Connection, clock: Clock, run_id: int, **more: object) -> None:
    changes = {"air_c": None, **more}
    runs.save_run(db, runs.run(db, run_id).model_copy(update=changes), clock())


NO_RUNS = "No runs with temperatures logged yet"


@pytest.mark.parametrize("screen", ["", "/gear?pinion=44&spur=69", "/learned"])
def test_a_can_without_air_is_named_with_the_way_to_mend_it(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int, screen: str
) -> None:
    logged, lacking, neither = log_runs(db, car, track_id, clock(), 3)
    without_air(db, clock, lacking)
    without_air(db, clock, neither, can_c=None)
    text = client.get(f"/forecast{screen}").text
    page = main(text)
    assert "1 run without air temperature: not used" in page
    assert f'href="/runs/{lacking}/edit"' in text
    assert NO_RUNS not in page
    if not screen:
        assert "going by 1 logged run" in page
    runs.save_run(db, runs.run(db, logged).model_copy(update={"can_c": None}), clock())
    page = main(client.get(f"/forecast{screen}").text)
    assert "1 run without air temperature: not used" in page
    assert NO_RUNS not in page
    assert "going by" not in page
    without_air(db, clock, lacking, can_c=None)
    page = main(client.get(f"/forecast{screen}").text)
    assert "without air temperature" not in page
    assert NO_RUNS in page


def test_air_of_a_run_that_was_near_stands_for_what_was_not_logged(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    first, second = log_runs(db, car, track_id, clock(), 2)
    start = runs.run(db, first).started_at
    spreads: list[float] = []
    air = runs.run(db, first).air_c
    for apart_h, air_c in ((4, None), (2, None), (2, air)):
        without_air(db, clock, second, started_at=start + timedelta(hours=apart_h), air_c=air_c)
        page = main(client.get("/forecast/gear?pinion=42&spur=69").text)
        assert ("1 run without air temperature" in page) == (apart_h == 4)
        learned = ForecastContext(db, {}, clock(), track_id).learned
        reading = learned.run_residuals[-1].reading
        assert learned.can.runs == (1 if reading is None else 2)
        assert (reading is None) == (apart_h == 4)
        if reading is not None:
            assert reading.air_c == air
            spreads.append(reading.spread_k)
    assert spreads[0] > spreads[1]


def test_the_plots_mark_the_owned_gears(client: PageClient, car: Car, track_id: int) -> None:
    page = client.get("/forecast").text
    for plot in ("speed-along", "lap-by-ratio", "can-by-ratio"):
        assert f'id="{plot}"' in page
    assert "42 / 69, fitted" in page
    assert not re.search(r"\b(nan|inf)\b", page, re.I)


def test_every_gear_has_all_its_figures_on_one_page(
    client: PageClient, car: Car, track_id: int
) -> None:
    page = client.get("/forecast/gears").text
    shown = figures(page)
    names = ("fdr", "lap-change-s", "lap-se-s", "can-c", "can-se-c", "top-speed-kmh", "charge-mah")
    owned = page.count("/forecast/gear?")
    assert owned > 50
    assert len([key for key in shown if key.startswith("gear-")]) == owned * len(names)
    for name in names:
        assert math.isfinite(shown[f"gear-42-69-{name}"])
    assert shown["gear-42-69-fdr"] == pytest.approx(1.9 * 69 / 42, rel=1e-12)
    assert shown["gear-42-69-lap-change-s"] == 0
    assert shown["gear-41-69-can-c"] < shown["gear-42-69-can-c"] < shown["gear-43-69-can-c"]


def test_a_gear_that_is_none_is_refused(client: PageClient, car: Car) -> None:
    for query in (
        "",
        "?pinion=5&spur=69",
        "?pinion=44",
        "?pinion=x&spur=69",
        "?pinion=44&spur=9999",
    ):
        assert client.get(f"/forecast/gear{query}").status_code == 400


def test_an_unknown_track_or_class_is_not_there(
    client: PageClient, car: Car, track_id: int
) -> None:
    for query in ("?track=99", "?track=-1", "?race_class=99", f"?track={10**30}"):
        for screen in ("", "/learned", "/figures"):
            assert client.get(f"/forecast{screen}{query}").status_code == 404


def test_what_the_runs_taught_is_shown_with_every_run(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    assert "No runs of this motor" in client.get("/forecast/learned").text
    logged = log_runs(db, car, track_id, clock(), 35)
    page = client.get("/forecast/learned").text
    assert figures(page)["thermal-resistance"] == pytest.approx(3.1, rel=0.25)
    shown = [int(each) for each in re.findall(r'href="/runs/(\d+)"', page)]
    assert shown == logged[::-1][:30]
    older = re.search(r'href="(/forecast/learned[^"]*before=\d+)"', page)
    assert older
    rest = client.get(unescape(older[1])).text
    assert [int(each) for each in re.findall(r'href="/runs/(\d+)"', rest)] == logged[::-1][30:]


def test_what_if_shows_each_change_and_keeps_what_was_typed(
    client: PageClient, car: Car, track_id: int
) -> None:
    page = client.get("/forecast/what-if").text
    assert page.count('class="what-if"') == 7
    page = client.get("/forecast/what-if?mass_g=1500&kv_rpm_per_v=&air_c=30,5").text
    assert page.count('class="what-if"') == 3
    assert "1330 → 1500" in page
    wrong = client.get("/forecast/what-if?mass_g=heavy")
    assert wrong.status_code == 422
    assert 'id="mass_g-error"' in wrong.text
    assert 'value="heavy"' in wrong.text
    absurd = client.get("/forecast/what-if?tyre_diameter_mm=1&air_c=1e9")
    assert absurd.status_code == 200
    assert "tyre diameter must be at least 20" in absurd.text


def test_a_bad_range_comes_back_with_a_sentence(
    client: PageClient, car: Car, track_id: int
) -> None:
    for query in ("low=3&high=2&step=2", "low=x&high=3&step=2", "low=2&high=3&step=0", "low="):
        answer = client.get(f"/forecast/shopping?{query}")
        assert answer.status_code == 422
        assert "-error" in answer.text


def test_a_range_that_nobody_asked_for_is_no_fault_of_the_racers(
    client: PageClient, db: sqlite3.Connection, clock: Clock, track_id: int
) -> None:
    add_car(db, clock(), rev_limit_rpm=1000)
    assert client.get("/forecast/shopping").status_code == 200


def test_shopping_lists_what_to_pack_and_to_buy(
    client: PageClient, car: Car, track_id: int
) -> None:
    page = main(client.get("/forecast/shopping?low=2.6&high=2.9&step=0,8").text)
    assert "To pack Pinions" in page
    assert "To buy Pinions" in page or "To buy Spurs" in page
    everything = main(client.get("/forecast/shopping?low=2.6&high=2.9&step=20").text)
    assert "Nothing: no step is over 20 %" in everything


def test_shopping_works_with_no_gears_at_all(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    for gear in kit.gears(db):
        kit.remove_gear(db, gear.id, clock())
    page = main(client.get("/forecast/shopping?low=2.8&high=3&step=3").text)
    assert "Nothing in the box gives an FDR in this range" in page
    assert "To buy Pinions" in page


def test_a_figure_is_saved_taken_back_and_undone(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    about = About(car.id, car.motor_id or 0, track_id)
    client.post_form("/forecast/figures/grip", {"value": "1,5", "measured": "yes"})
    assert store.own_figures(db, about, clock())["grip"] == (1.5, True)
    assert "measured here" in client.get("/forecast/figures").text
    client.post_form("/forecast/figures/grip/forget")
    assert store.own_figures(db, about, clock()) == {}
    token = re.search(r'action="(/undo/[^"]+)"', client.get("/forecast/figures").text)
    assert token
    client.post_form(token[1])
    assert store.own_figures(db, about, clock())["grip"] == (1.5, True)


def test_a_bad_figure_comes_back_with_a_sentence(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    for value in ("", "0", "-1", "x", "99", "1e400", "🏎", "1.2.3"):
        answer = client.post_form("/forecast/figures/grip", {"value": value, "measured": "yes"})
        assert answer.status_code == 422
        assert 'id="value-error"' in answer.text
        assert f'value="{value}"' in answer.text
    assert store.own_figures(db, About(car.id, 1, 0), clock()) == {}


def test_only_the_forecasts_own_figures_are_changed_here(client: PageClient, car: Car) -> None:
    for path in ("/figures/mass_g", "/figures/nonsense", "/figures/measure/nonsense"):
        assert client.get(f"/forecast{path}").status_code == 404
        assert client.post_form(f"/forecast{path}", {"value": "1"}).status_code == 404


def test_a_measurement_gives_its_figures(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    about = About(car.id, car.motor_id or 0, track_id)
    slow = {"slow_from": "15", "slow_to": "12", "slow_s": "2,4"}
    fast = {"fast_from": "55", "fast_to": "45", "fast_s": "3,5"}
    assert client.post_form("/forecast/figures/measure/coast-down", slow | fast).status_code == 303
    found = store.own_figures(db, about, clock())
    # By hand, 1.33 kg, air of 20 °C and 1013.25 hPa (1.2041 kg/m³): a₁ = 10/3.6/3.5 = 0.79365 at
    # 13.8889 m/s, a₂ = 3/3.6/2.4 = 0.34722 at 3.75 m/s.
    assert found["drag_area_m2"].value == pytest.approx(0.005514, abs=5e-6)
    assert found["rolling_resistance"].value == pytest.approx(0.03178, abs=1e-4)
    client.post_form("/forecast/figures/measure/start", {"distance": "6", "time": "1"})
    client.post_form("/forecast/figures/measure/stop", {"speed": "43,2", "distance": "9"})
    found = store.own_figures(db, about, clock())
    assert found["grip"].value == pytest.approx(1.2237 + 0.03178, abs=1e-3)
    assert found["braking_m_s2"].value == pytest.approx(8.0)
    assert found["braking_m_s2"].measured
    again = client.post_form("/forecast/figures/measure/coast-down", slow | fast | {"fast_s": "99"})
    assert again.status_code == 422
    assert "No coasting car" in again.text
    assert 'value="99"' in again.text
    absurd = client.post_form("/forecast/figures/measure/stop", {"speed": "200", "distance": "1"})
    assert absurd.status_code == 422
    assert "which no car has" in absurd.text


def test_a_track_of_one_short_straight_says_what_it_cannot_be(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    short = Track(name="Short", straights=(Straight(length_m=1, entry_kmh=60, exit_kmh=10),))
    track_id, _ = tracks.save_track(db, short, clock())
    page = main(client.get(f"/forecast?track={track_id}").text)
    assert "too short to brake" in page
    assert "no lap length" in page
    assert not re.search(r"\b(nan|inf)\b", page, re.I)


def test_a_corner_faster_than_the_car_is_named(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    fast = Straight(length_m=60, entry_kmh=200, exit_kmh=190)
    track_id, _ = tracks.save_track(db, Track(name="Fast", straights=(fast,)), clock())
    page = main(client.get(f"/forecast?track={track_id}").text)
    assert "less than the 55.6 m/s a straight is entered with" in page
    assert not re.search(r"\b(nan|inf)\b", page, re.I)


def test_a_figure_that_the_model_cannot_take_stops_with_a_sentence(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    motor = kit.motor(db, car.motor_id or 0)
    kit.save_motor(db, motor.model_copy(update={"resistance_ohm": 90.0}), clock())
    for screen in SCREENS:
        answer = client.get(f"/forecast{screen}")
        assert answer.status_code == 200
    assert "motor resistance must be at most 5" in client.get("/forecast").text
    kit.save_motor(db, kit.motor(db, motor.id).model_copy(update={"resistance_ohm": 4.9}), clock())
    for screen in SCREENS:
        assert client.get(f"/forecast{screen}").status_code == 200


def test_fahrenheit_is_used_throughout(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    log_runs(db, car, track_id, clock(), 8)
    celsius = client.get("/forecast").text
    settings.save(db, "temperature_unit", "imperial")
    page = client.get("/forecast").text
    assert figures(page) == figures(celsius)
    assert "°C" not in main(page)
    shown = 32 + 1.8 * figures(page)["flag-temperature-c"]
    assert f">{shown:.0f}</data>" in page
    assert f"{shown:.0f} ± " in main(page).replace("\u00a0", " ")


def test_what_if_takes_another_motor_and_pack_from_kit(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    hot = Motor(name="Hot one", kv_rpm_per_v=4000, resistance_ohm=0.01)
    motor_id, _ = kit.save_motor(db, hot, clock())
    packs.save_pack(db, Pack(mark="First", cells_series=2, capacity_mah=6000), clock())
    pack_id, _ = packs.save_pack(db, Pack(mark="Tall", cells_series=3, capacity_mah=4000), clock())
    page = main(client.get(f"/forecast/what-if?motor={motor_id}&pack={pack_id}").text)
    assert "Another motor: Hot one" in page
    assert "Another pack: Tall" in page
    assert "All together" in page
    assert client.get("/forecast/what-if?motor=999").status_code == 422
    assert client.get(f"/forecast/what-if?pack={pack_id}x").status_code == 422


def test_what_was_learned_stands_among_the_figures_with_its_source(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, track_id: int
) -> None:
    assert "fitted from runs" not in client.get("/forecast/figures").text
    log_runs(db, car, track_id, clock(), 2)
    assert "fitted from runs: 2 runs" in client.get("/forecast/figures").text

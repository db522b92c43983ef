"""What is said of a box without a gear for the car, on every screen that needs one."""

from __future__ import annotations

import re
import sqlite3
from html import unescape

import pytest

from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.gear_gap import gear_gap
from pitapp.kit.models import Car, Gear, GearKind
from tests.drive_racer import add_car, add_track
from tests.support import Clock, PageClient

CAR = Car(id=7, name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
SCREENS = (
    "/",
    "/gearing",
    "/gearing/table",
    "/gearing?kind=ratio&value=3",
    "/forecast",
    "/forecast/gears",
    "/forecast/gear?pinion=44&spur=69",
    "/forecast/learned",
    "/forecast/what-if",
    "/forecast/shopping",
)


def some(kind: GearKind, pitch: str, *teeth: int) -> list[Gear]:
    return [Gear(id=0, kind=kind, teeth=each, pitch=pitch) for each in teeth]


def test_a_pinion_and_a_spur_of_the_cars_pitch_are_no_gap() -> None:
    assert gear_gap(CAR, some("pinion", "dp:64", 40) + some("spur", "dp:64", 80)) is None


def test_a_box_with_nothing_in_it_is_empty() -> None:
    gap = gear_gap(CAR, [])
    assert gap is not None
    assert gap.title == "Your gear box is empty"
    assert [href for _, href in gap.ways] == ["/kit/gears?pitch=dp:64"]


def test_gears_of_another_pitch_are_named_with_both_ways_out() -> None:
    gears = some("pinion", "dp:48", *range(20, 40)) + some("spur", "m:0.5", *range(70, 80))
    gap = gear_gap(CAR, gears)
    assert gap is not None
    assert gap.title == "No 64 DP gears in your box"
    assert gap.sentence == (
        "The 30 gears in it are 48 DP and module 0.5, Invented TC is set to 64 DP."
    )
    assert [href for _, href in gap.ways] == ["/kit/cars/7#pitch", "/kit/gears?pitch=dp:64"]


def test_only_the_kind_that_lacks_is_asked_for() -> None:
    gap = gear_gap(CAR, some("pinion", "dp:64", 40) + some("spur", "dp:48", 80))
    assert gap is not None
    assert gap.title == "No 64 DP spurs in your box"
    assert gap.sentence == "The one spur in it is 48 DP, Invented TC is set to 64 DP."
    assert [href for _, href in gap.ways] == [
        "/kit/cars/7#pitch",
        "/kit/gears?pitch=dp:64&kind=spur",
    ]
    gap = gear_gap(CAR, some("pinion", "dp:64", 40))
    assert gap is not None
    assert gap.title == "No 64 DP spurs in your box"
    assert [href for _, href in gap.ways] == ["/kit/gears?pitch=dp:64&kind=spur"]


@pytest.fixture
def other_pitch(db: sqlite3.Connection, clock: Clock) -> Car:
    """A car with a motor and a track, and the gears that were its own turned into 48 DP."""
    car = add_car(db, clock())
    add_track(db, clock())
    for entry in gearing.log(db, car.id, 50):
        gearing.take_out(db, entry.id, clock())
    db.execute("UPDATE gears SET pitch = 'dp:48'")
    return car


@pytest.mark.parametrize("screen", SCREENS)
def test_every_screen_says_so_and_shows_both_ways(
    client: PageClient, other_pitch: Car, db: sqlite3.Connection, screen: str
) -> None:
    page = client.get(screen).text
    main = page[page.index("<main") : page.index("</main>")]
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())
    assert f"The {len(kit.gears(db))} gears in it are 48 DP" in text
    assert f"{other_pitch.name} is set to 64 DP." in text
    assert "is empty" not in text
    assert f'href="/kit/cars/{other_pitch.id}#pitch"' in main
    assert re.search(r'href="/kit/gears\?pitch=dp:64[^"]*"', main)


def test_the_way_to_add_gears_has_the_cars_pitch_chosen(
    client: PageClient, other_pitch: Car
) -> None:
    page = client.get("/kit/gears?pitch=dp:64&kind=spur").text
    assert '<option selected value="dp:64">' in page
    assert re.search(r'<input[^>]* name="spurs" value=""', page)

"""The screen of a class: every limit as it was typed, further ones in the racer's words."""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.db import settings
from pitapp.meetings import store
from tests.support import PageClient

CLASS = {
    "version": "1",
    "name": "Invented 21.5 spec",
    "rev_limit_rpm": "14 600",
    "timing_fixed": "y",
    "timing_deg": "30",
    "timing_tolerance_deg": "2,5",
    "winding": "21.5 turns",
    "least_mass_g": "1300",
    "most_capacity_mah": "6000",
    "most_start_v": "8,40",
    "tyre": "Invented hand-out tyre",
    "least_ride_height_mm": "5",
    "run_length_s": "5:30",
    "heats_a_day": "5",
}


def limit(place: int, **typed: str) -> dict[str, str]:
    return {f"limits-{place}-{name}": value for name, value in {"id": "0", **typed}.items()}


def test_every_limit_is_kept(client: PageClient, db: sqlite3.Connection) -> None:
    wing = limit(0, name="Wing chord", unit="mm", most="40")
    base = limit(1, name="Wheelbase", unit="mm", exactly="257")
    answer = client.post_form("/meetings/classes/new", CLASS | wing | base)
    assert answer.location == "/meetings/classes"
    (kept,) = store.race_classes(db)
    assert kept.model_dump(exclude={"id", "version", "remarks", "limits"}) == {
        "name": "Invented 21.5 spec",
        "rev_limit_rpm": 14_600,
        "timing_fixed": True,
        "timing_deg": 30,
        "timing_tolerance_deg": 2.5,
        "winding": "21.5 turns",
        "least_mass_g": 1300,
        "most_capacity_mah": 6000,
        "most_start_v": 8.4,
        "tyre": "Invented hand-out tyre",
        "least_ride_height_mm": 5,
        "run_length_s": 330,
        "heats_a_day": 5,
    }
    assert [one.text for one in kept.limits] == ["at most 40 mm", "exactly 257 mm"]
    page = client.get("/meetings/classes/1").get_data(as_text=True)
    assert 'value="5:30"' in page
    assert page.count("<legend>") == 3  # two limits and an empty row for a third


def test_an_emptied_row_takes_the_limit_away(client: PageClient, db: sqlite3.Connection) -> None:
    client.post_form("/meetings/classes/new", CLASS | limit(0, name="Wing chord", most="40"))
    client.post_form("/meetings/classes/1", {**CLASS, **limit(0, id="1", name="", most="")})
    assert store.race_class(db, 1).limits == ()


def test_another_row_loses_nothing_and_saves_nothing(
    client: PageClient, db: sqlite3.Connection
) -> None:
    typed = CLASS | limit(0, name="Wing chord", most="40") | {"another": "yes"}
    page = client.post_form("/meetings/classes/new", typed).get_data(as_text=True)
    assert 'name="limits-1-name"' in page
    assert 'value="Wing chord"' in page
    assert store.race_classes(db) == []


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("name", " ", "Give the class a name."),
        ("rev_limit_rpm", "0", "This must be at least 500."),
        ("rev_limit_rpm", "-14600", "This must be at least 500."),
        ("timing_deg", "NaN", "Write a number here"),
        ("timing_tolerance_deg", "-1", "This must be at least 0."),
        ("least_mass_g", "0", "This must be more than 0."),
        ("most_start_v", "8,4 V", "Write a number here"),
        ("run_length_s", "0", "This must be at least 10."),
        ("run_length_s", "5:75", "Write a number here"),
        ("heats_a_day", "2.5", "Write a whole number here."),
        ("tyre", "x" * 61, "Keep this under 60 characters."),
        ("limits-0-name", "", "This is needed."),
        ("limits-0-most", "wide", "Write a number here"),
        ("limits-0-most", "", "Give a minimum, a maximum or an exact value."),
        ("limits-0-least", "41", "The minimum is above the maximum."),
        ("limits-0-exactly", "41", "Give an exact value"),
        ("limits-0-most", "1e300", "This must be at most 1e+06."),
    ],
)
def test_bad_input_stays_with_a_sentence_at_its_field(
    client: PageClient, db: sqlite3.Connection, field: str, value: str, sentence: str
) -> None:
    typed = CLASS | limit(0, name="Wing chord", unit="mm", most="40", least="", exactly="")
    answer = client.post_form("/meetings/classes/new", typed | {field: value})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert sentence in page
    assert field == "tyre" or "Invented hand-out tyre" in page
    assert store.race_classes(db) == []


def test_weights_are_typed_in_the_racer_s_unit(client: PageClient, db: sqlite3.Connection) -> None:
    settings.save(db, "mass_unit", "imperial")
    client.post_form("/meetings/classes/new", CLASS | {"least_mass_g": "46"})
    # The international avoirdupois ounce is 28.349523125 g (NIST Handbook 44, appendix C).
    assert store.race_class(db, 1).least_mass_g == pytest.approx(46 * 28.349523125)


def test_a_second_device_is_told(client: PageClient, db: sqlite3.Connection) -> None:
    client.post_form("/meetings/classes/new", CLASS)
    client.post_form("/meetings/classes/1", CLASS | {"rev_limit_rpm": "16000"})
    answer = client.post_form("/meetings/classes/1", CLASS | {"tyre": "Other tyre"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 409
    assert "On the other screen this became 16000." in page
    assert 'value="Other tyre"' in page


def test_a_removed_class_comes_back(client: PageClient, db: sqlite3.Connection) -> None:
    client.post_form("/meetings/classes/new", CLASS)
    answer = client.post_form("/meetings/classes/1/remove")
    assert store.race_classes(db) == []
    found = re.findall(
        r'action="(/undo/[^"]+)"', client.get(answer.location).get_data(as_text=True)
    )
    client.post_form(found[-1])
    assert len(store.race_classes(db)) == 1

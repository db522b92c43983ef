"""Fields of quantities: short in any unit, and exact where nobody touched them."""

from __future__ import annotations

import math
import sqlite3
from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitapp.db import settings
from pitapp.tracks import store
from pitapp.tracks.models import Straight, Track
from pitapp.web.forms.fields import parse_number
from pitapp.web.forms.quantities import grouped, plain
from tests.runs_support import form_values
from tests.support import RACE_MORNING, PageClient

FOOT_M = 0.3048  # the international foot, exactly


@pytest.fixture
def track_id(db: sqlite3.Connection) -> int:
    settings.save(db, "length_unit", "imperial")
    straight = Straight(length_m=23.4567891, entry_kmh=20, exit_kmh=24)
    track = Track(name="Invented hall", lap_length_m=248, straights=(straight,))
    return store.save_track(db, track, RACE_MORNING)[0]


def test_a_metric_value_is_short_in_feet_and_stays_exact(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    address = f"/tracks/{track_id}/edit"
    before = store.track(db, track_id)
    for name in ("Invented hall", "Another name"):
        shown = form_values(client.get(address).get_data(as_text=True))
        assert shown["lap_length_m"] == "813.6"  # 248 / 0.3048 = 813.648…
        assert client.post_form(address, shown | {"name": name}).status_code == 303
        after = store.track(db, track_id)
        assert after.lap_length_m == 248
        assert after.straights == before.straights


def test_what_was_typed_comes_back_as_it_was_typed(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    address = f"/tracks/{track_id}/edit"
    for typed in ("813.7", "813.65", "820.0625", "900"):
        shown = form_values(client.get(address).get_data(as_text=True))
        client.post_form(address, shown | {"lap_length_m": typed})
        assert store.track(db, track_id).lap_length_m == pytest.approx(float(typed) * FOOT_M)
        again = form_values(client.get(address).get_data(as_text=True))
        assert again["lap_length_m"] == typed
        assert client.post_form(address, again).status_code == 303
        assert store.track(db, track_id).lap_length_m == pytest.approx(float(typed) * FOOT_M)


def test_a_refused_form_still_has_the_exact_value(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    address = f"/tracks/{track_id}/edit"
    shown = form_values(client.get(address).get_data(as_text=True))
    refused = client.post_form(address, shown | {"name": ""})
    assert refused.status_code == 422
    again = form_values(refused.get_data(as_text=True)) | {"name": "Named"}
    assert client.post_form(address, again).status_code == 303
    assert store.track(db, track_id).lap_length_m == 248


@pytest.mark.parametrize("exact", ["", "x", "nan", "1e999", "9" * 60])
def test_nonsense_behind_a_field_is_passed_over(
    client: PageClient, db: sqlite3.Connection, track_id: int, exact: str
) -> None:
    address = f"/tracks/{track_id}/edit"
    shown = form_values(client.get(address).get_data(as_text=True))
    assert client.post_form(address, shown | {"lap_length_m-exact": exact}).status_code == 303
    assert store.track(db, track_id).lap_length_m == pytest.approx(813.6 * FOOT_M)


RPM, FDR, VOLTS = (500, 200_000), (0.2, 20), (0, 60)


@pytest.mark.parametrize(
    ("text", "sensible", "value"),
    [
        ("16,000", RPM, 16_000),
        ("16.000", RPM, 16_000),
        ("16 000", None, 16_000),
        ("16\u202f000", None, 16_000),
        ("16'000", None, 16_000),
        ("16k", None, 16_000),
        ("16.5 K", RPM, 16_500),
        ("14,6k", RPM, 14_600),
        ("1,234,567", None, 1_234_567),
        ("1.234.567", None, 1_234_567),
        ("16,000.5", None, 16_000.5),
        ("16.000,5", None, 16_000.5),
        ("2,79", None, 2.79),
        ("2,790", FDR, 2.79),
        ("8,402", VOLTS, 8.402),
        ("0,125", None, 0.125),
        ("1.234", None, 1.234),
        ("1.234", RPM, 1234),
        ("\u22122,5", None, -2.5),
        ("- 2.5", None, -2.5),
        ("1e3", None, 1000),
    ],
)
def test_numbers_as_people_write_them(
    text: str, sensible: tuple[float, float] | None, value: float
) -> None:
    assert parse_number(text, sensible) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    ["", "k", "1 2", "16 00", "1,2,3", "1.2.3", "1,23,456", "1.000,000,5", "2 790 5", "٣", "nan"],
)
def test_what_is_no_number_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(ValueError, match="such as 2380"):
        parse_number(text, None, "2380")


def test_a_comma_that_fits_both_ways_is_asked_with_both_readings() -> None:
    with pytest.raises(ValueError, match=r"1\.234 or 1234\?"):
        parse_number("1,234", (1, 5000))
    with pytest.raises(ValueError, match=r"1\.234 or 1234\?"):
        parse_number("1,234")


@given(st.floats(-1e6, 1e6).map(lambda value: float(f"{value:.10g}")))
def test_a_number_as_pitapp_writes_it_is_read_back(value: float) -> None:
    for text in (plain(value), grouped(value)):
        assert parse_number(text, (-1e6, 1e6)) == value


@given(st.integers(1000, 999_999), st.sampled_from(",. '\u00a0\u2009\u202f"))
def test_thousands_set_apart_are_the_same_number(value: int, between: str) -> None:
    text = f"{value:,}".replace(",", between)
    assert parse_number(text, (1000, 999_999)) == value


@given(st.decimals(0, 99, places=2))
def test_a_decimal_comma_is_a_decimal_point(value: Decimal) -> None:
    assert parse_number(str(value).replace(".", ",")) == float(value)


@given(st.text(max_size=50))
def test_any_text_is_a_finite_number_or_a_sentence(text: str) -> None:
    value = 0.0
    with suppress(ValueError):
        value = parse_number(text)
    assert math.isfinite(value)


def test_a_number_with_two_readings_is_asked_at_its_field_and_stays_there(
    client: PageClient, db: sqlite3.Connection
) -> None:
    sent = {"name": "Invented", "limits-0-name": "Wing", "limits-0-most": "1,234"}
    answer = client.post_form("/meetings/classes/new", sent | {"rev_limit_rpm": "16,000"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "Is that 1.234 or 1234?" in page
    assert 'value="1,234"' in page
    assert 'value="16,000"' in page
    sent |= {"limits-0-most": "1234", "rev_limit_rpm": "16,000"}
    assert client.post_form("/meetings/classes/new", sent).status_code == 303
    assert db.execute("SELECT rev_limit_rpm FROM race_classes").fetchone()[0] == 16_000

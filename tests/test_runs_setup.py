"""A car's set-up and its tyres: typed once, changed in two taps, undone."""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.db import undo
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.runs.formulas import SetupLine
from pitapp.runs.models import SetupEntry, TyreSet
from pitapp.runs.setup import store
from pitapp.runs.tyres import store as tyres
from tests.runs_support import SETUP, Pit, form_values, furnish
from tests.support import Clock, PageClient


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    return furnish(db)


def entry(db: sqlite3.Connection, pit: Pit, name: str) -> SetupEntry:
    return next(one for one in store.entries(db, pit.car) if one.name == name)


def undo_path(page: str) -> str:
    found: list[str] = re.findall(r'action="(/undo/[^"]+)"', page)
    return found[-1]


def test_the_list_keeps_the_racers_order(db: sqlite3.Connection, pit: Pit, clock: Clock) -> None:
    store.add(
        db, pit.car, [SetupLine("Front", "Toe", "1", "°"), SetupLine("", "Wing", "", "")], clock()
    )
    found = [(one.group_name, one.name) for one in store.entries(db, pit.car)]
    assert found == [
        ("Front", "Ride height"),
        ("Front", "Springs"),
        ("Front", "Toe"),
        ("Rear", "Springs"),
        ("Rear", "Body mount"),
        ("", "Wing"),
    ]
    assert [one.name for one in store.settings(db, pit.car)][-1] == "Body mount"


def test_a_list_typed_again_changes_values_and_doubles_nothing(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    before = store.entries(db, pit.car)
    page = client.post_form(
        "/runs/setup/new", {"lines": SETUP.replace("2.6", "2.8")}, follow_redirects=True
    )
    after = store.entries(db, pit.car)
    assert [one.id for one in after] == [one.id for one in before]
    assert (after[1].value, after[1].unit, after[1].used) == ("2.8", "N/mm", ("2.6",))
    client.post_form(undo_path(page.text))
    assert store.entries(db, pit.car) == before


def test_a_step_and_a_value_used_before(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    height = entry(db, pit, "Ride height")
    path = f"/runs/setup/{height.id}"
    client.post_form(path, {"nudge": "more"})
    client.post_form(path, {"nudge": "more"})
    assert entry(db, pit, "Ride height").value == "5.4"
    page = client.get(path).text
    assert re.search(r'name="value" value="5.2"', page)
    page = client.post_form(path, {"value": "5.2"}, follow_redirects=True).text
    assert "Ride height 5.4 → 5.2 mm" in page
    assert entry(db, pit, "Ride height").used == ("5.4", "5.3")
    client.post_form(undo_path(page))
    assert entry(db, pit, "Ride height").value == "5.4"


def test_a_fragment_answers_a_step(client: PageClient, db: sqlite3.Connection, pit: Pit) -> None:
    path = f"/runs/setup/{entry(db, pit, 'Ride height').id}"
    answer = client.post_form(
        path, {"nudge": "less"}, headers={"HX-Request": "true"}, follow_redirects=True
    )
    assert answer.status_code == 200
    assert answer.text.startswith('<div id="entry-part"')
    assert "5.1 mm" in answer.text


@pytest.mark.parametrize(
    ("path", "data", "status"),
    [
        ("{id}", {"value": "x" * 61}, 422),
        ("{id}", {}, 400),
        ("{id}", {"nudge": "sideways"}, 400),
        ("999", {"value": "1"}, 404),
        ("{id}/edit", {"name": "", "version": "1"}, 422),
        ("{id}/edit", {"name": "A", "version": "1", "step_size": "-1"}, 422),
        ("{id}/edit", {"name": "A", "version": "1", "step_size": "0,1 mm"}, 422),
        ("{id}/edit", {"name": "A", "version": "7"}, 409),
        ("{id}/edit", {"name": "A", "version": "🏎"}, 422),
        ("new", {"lines": "   "}, 422),
        ("new", {"lines": "x" * 70}, 422),
        ("new", {}, 422),
        ("copy/999", {}, 404),
        ("999/remove", {}, 404),
        ("999/move", {"to": "up"}, 404),
    ],
)
def test_bad_input_is_answered_and_changes_nothing(
    client: PageClient,
    db: sqlite3.Connection,
    pit: Pit,
    path: str,
    data: dict[str, str],
    status: int,
) -> None:
    before = store.entries(db, pit.car)
    address = "/runs/setup/" + path.format(id=before[0].id)
    answer = client.post_form(address, data)
    assert answer.status_code == status
    for text in data.values():
        assert status not in {409, 422} or text.strip() in answer.text
    assert store.entries(db, pit.car) == before


def test_an_emptied_value_is_no_longer_in_the_snapshot(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    client.post_form(f"/runs/setup/{entry(db, pit, 'Body mount').id}", {"value": " "})
    assert "Body mount" not in [one.name for one in store.settings(db, pit.car)]


def test_renaming_regrouping_moving_removing(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    first = store.entries(db, pit.car)[0]
    client.post_form(f"/runs/setup/{first.id}/move", {"to": "down"})
    assert [one.name for one in store.entries(db, pit.car)[:2]] == ["Springs", "Ride height"]
    client.post_form(f"/runs/setup/{first.id}/move", {"to": "down"})
    assert [one.name for one in store.entries(db, pit.car)[:2]] == ["Springs", "Ride height"]
    path = f"/runs/setup/{first.id}/edit"
    values = form_values(client.get(path).text) | {"group_name": "Chassis", "step_size": "0,5"}
    client.post_form(path, values)
    moved = store.entry(db, first.id)
    assert (moved.group_name, moved.step_size, moved.name) == ("Chassis", 0.5, "Ride height")
    page = client.post_form(f"/runs/setup/{first.id}/remove", follow_redirects=True).text
    assert client.get(f"/runs/setup/{first.id}").status_code == 404
    client.post_form(undo_path(page))
    assert store.entry(db, first.id) == moved


def test_another_cars_list_is_copied(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    other, _ = kit.save_car(
        db, Car(name="Second", internal_ratio=2, pitch="dp:64", tyre_diameter_mm=60), clock()
    )
    kit.choose_car(db, other)
    assert "Copy the list of Example car" in client.get("/runs/setup").text
    client.post_form(f"/runs/setup/copy/{pit.car}")
    assert [(one.group, one.name, one.value) for one in store.settings(db, other)] == [
        (one.group, one.name, one.value) for one in store.settings(db, pit.car)
    ]


def test_a_past_runs_set_up_is_put_right_and_the_cars_is_not(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    from pitapp.runs import store as runs

    client.post_form("/runs/new", form_values(client.get("/runs/new").text))
    (run,) = runs.runs(db)
    path = f"/runs/{run.id}/setup"
    values = form_values(client.get(path).text)
    assert values["value-1"] == "2.6"
    page = client.post_form(path, values | {"value-1": "2.4", "value-3": ""}, follow_redirects=True)
    changed = runs.run(db, run.id)
    assert [one.value for one in changed.snapshot.setup] == ["5.2", "2.4", "2.4"]
    assert entry(db, pit, "Springs").value == "2.6"
    stale = client.post_form(path, values | {"value-1": "9.9"})
    assert stale.status_code == 409
    assert form_values(stale.text)["value-1"] == "9.9"
    assert client.post_form(path, values | {"value-1": "x" * 61}).status_code in {409, 422}
    client.post_form(undo_path(page.text))
    assert runs.run(db, run.id).snapshot == run.snapshot


def test_tyres_put_on_change_the_gearings_diameter(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    path = f"/runs/tyres/{pit.other_tyres}"
    values = form_values(client.get(path).text)
    client.post_form(path, values | {"diameter_mm": "62,5", "treatment": "warm 🔥"})
    assert kit.car(db, pit.car).tyre_diameter_mm == 63
    page = client.post_form(f"{path}/fit", follow_redirects=True).text
    assert tyres.fitted(db, pit.car).tyre_set_id == pit.other_tyres
    assert kit.car(db, pit.car).tyre_diameter_mm == 62.5
    # Measured again while it is on the car.
    values = form_values(client.get(path).text)
    measured = client.post_form(path, values | {"diameter_mm": "61.8"}, follow_redirects=True).text
    assert kit.car(db, pit.car).tyre_diameter_mm == 61.8
    client.post_form(undo_path(measured))
    client.post_form(undo_path(page))
    assert kit.car(db, pit.car).tyre_diameter_mm == 63
    assert tyres.fitted(db, pit.car).tyre_set_id == pit.tyres
    assert gearing.fitted(db, pit.car) is not None


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("name", ""),
        ("name", "x" * 61),
        ("diameter_mm", "0"),
        ("diameter_mm", "round"),
        ("runs_elsewhere", "-1"),
        ("runs_elsewhere", "1.5"),
        ("runs_elsewhere", "1e30"),
        ("treatment", "y" * 201),
    ],
)
def test_bad_tyres_are_told_at_the_field(
    client: PageClient, db: sqlite3.Connection, pit: Pit, field: str, typed: str
) -> None:
    values = {"version": "1", "name": "Fresh", "kind": "soft", "diameter_mm": "63"}
    answer = client.post_form("/runs/tyres/new", values | {field: typed})
    assert answer.status_code == 422
    assert f'id="{field}-error"' in answer.text
    assert typed in answer.text
    assert len(tyres.tyre_sets(db)) == 2


def test_tyres_on_two_devices_and_gone(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    path = f"/runs/tyres/{pit.tyres}"
    mine = form_values(client.get(path).text)
    item = tyres.tyre_set(db, pit.tyres)
    tyres.save(db, item.model_copy(update={"kind": "changed there"}), clock())
    answer = client.post_form(path, mine | {"remarks": "typed here"})
    assert answer.status_code == 409
    assert "On the other screen this became changed there." in answer.text
    assert form_values(answer.text)["remarks"] == "typed here"
    token = tyres.remove(db, pit.tyres, clock())
    assert tyres.fitted(db, pit.car).tyre_set_id is None
    assert [one.name for one in tyres.tyre_sets(db)] == ["Set 2"]
    undo.undo(db, token, clock())
    assert tyres.fitted(db, pit.car).tyre_set_id == pit.tyres
    assert client.post_form("/runs/tyres/999/fit").status_code == 404


def test_screens_with_no_car_and_no_tyres(client: PageClient, db: sqlite3.Connection) -> None:
    assert "Add your car" in client.get("/runs/setup").text
    assert "No tyre sets yet" in client.get("/runs/tyres").text
    assert client.post_form("/runs/setup/new", {"lines": "A 1"}).status_code == 404
    tyres.save(db, TyreSet(name="Alone"), Clock()())
    assert client.get("/runs/tyres").status_code == 200
    assert client.post_form("/runs/tyres/1/fit").status_code == 404


@pytest.mark.parametrize(
    "address", ["/runs/setup/new", "/runs/tyres/1/fit", "/checks/controllers/1/fit"]
)
def test_what_needs_a_car_says_so(client: PageClient, address: str) -> None:
    client.post_form("/runs/tyres/new", {"name": "Set 1", "version": "1"})
    client.post_form("/checks/controllers/new", {"name": "First", "version": "1"})
    answer = client.post_form(address, {"lines": "Droop 5 mm"})
    assert answer.status_code == 404
    assert "There is no car yet. Add it under Kit first." in answer.text


# The entries of a touring car's set-up sheet: common practice, no source.
SHEET = ("Ride height", "Camber", "Toe", "Springs", "Damper oil", "Roll bar", "Differential")


def test_a_set_up_begins_with_the_usual_sheet_and_values_come_later(
    client: PageClient, db: sqlite3.Connection
) -> None:
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    car_id, _ = kit.save_car(db, car, Clock()())
    values = form_values(client.get("/runs/setup/new").text)
    lines = values["lines"].replace("Camber = ? °", "Camber = -1,5 °", 1)
    assert client.post_form("/runs/setup/new", values | {"lines": lines}).status_code == 303
    entries = store.entries(db, car_id)
    for group in ("Front", "Rear"):
        assert tuple(each.name for each in entries if each.group_name == group) == SHEET
    assert {"Body", "Wing"} <= {each.name for each in entries}
    assert [(each.name, each.value, each.unit) for each in entries if each.value] == [
        ("Camber", "-1,5", "°")
    ]
    assert {each.unit for each in entries if each.name == "Ride height"} == {"mm"}
    assert "?" not in form_values(client.get("/runs/setup/new").text)["lines"]


def test_a_question_mark_leaves_a_value_that_is_on_record(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    before = entry(db, pit, "Ride height").value
    client.post_form("/runs/setup/new", {"lines": "Front:\nRide height = ? mm"})
    assert entry(db, pit, "Ride height").value == before != ""


def test_the_preparation_of_tyres_begins_with_its_steps(
    client: PageClient, db: sqlite3.Connection
) -> None:
    begun = form_values(client.get("/runs/tyres/new").text)["treatment"]
    assert begun.count("?") >= 3
    for typed, kept in (
        (begun, ""),
        (begun.replace("Cleaner: ?", "Cleaner: water"), "Cleaner: water"),
    ):
        client.post_form("/runs/tyres/new", {"name": "Fresh", "treatment": typed})
        assert tyres.tyre_sets(db)[-1].treatment == kept
        tyres.remove(db, tyres.tyre_sets(db)[-1].id, Clock()())

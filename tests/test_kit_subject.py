"""What is entered for one car is written to that car, whatever is chosen by the time it is saved."""

from __future__ import annotations

import ast
import re
import shutil
import sqlite3
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any, NamedTuple, cast
from uuid import uuid4

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from pitapp import create_app
from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller
from pitapp.demo import fill
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.packs import store as packs
from pitapp.runs.tyres import store as tyres
from tests.house import PACKAGE, python_files, tree
from tests.support import RACE_MORNING, Clock, PageClient

OF_A_CAR = (
    "gear_fits",
    "parked_cars",
    "tilt_tests",
    "rev_checks",
    "car_fitted",
    "car_setup",
    "weighed_parts",
    "corner_weighings",
    "leads",
    "car_packs",
    "car_controllers",
    "check_walks",
    "forecast_inputs",
    "runs",
)


class Write(NamedTuple):
    """A form: the page that holds it, its address, and what is typed into it; {…} are the garage's."""

    page: str
    to: str
    typed: dict[str, str]


WRITES = {
    "gear": Write("/gearing", "/gearing/fit", {"pinion": "44", "spur": "69"}),
    "found gear": Write(
        "/gearing?kind=ratio&value=4.5", "/gearing/fit", {"pinion": "45", "spur": "69"}
    ),
    "parked": Write("/roll", "/roll", {"slope_deg": "3.5", "drag_brake_percent": "35"}),
    "tilt test": Write("/roll/test", "/roll/test", {"angle_deg": "7.5", "mass_g": "1301"}),
    "own rev check": Write("/sound/limit", "/sound/limit", {"limit_rpm": "14600", "rpm": "14540"}),
    "tyres": Write("/runs/tyres", "/runs/tyres/{tyres}/fit", {}),
    "set-up": Write("/runs/setup/new", "/runs/setup/new", {"lines": "Toe-out 1.5 °"}),
    "copied set-up": Write("/runs/setup", "/runs/setup/copy/{other}", {}),
    "part": Write("/kit/scales", "/kit/scales", {"name": "Plate", "mass_g": "12.5"}),
    "corners": Write(
        "/kit/scales/corners/new",
        "/kit/scales/corners/new",
        {
            "weighed_at": "2026-05-16T09:00",
            "front_left_g": "320",
            "front_right_g": "321",
            "rear_left_g": "322",
            "rear_right_g": "323",
        },
    ),
    "leads": Write(
        "/kit/leads",
        "/kit/leads",
        {"name": "Spare", "kind": "pair", "awg": "12", "length_mm": "80"},
    ),
    "new controller": Write(
        "/checks/controllers/new", "/checks/controllers/new", {"name": "New one", "fit": "y"}
    ),
    "controller": Write(
        "/checks/controllers/{controller}", "/checks/controllers/{controller}/fit", {}
    ),
    "run-through": Write(
        "/checks/lists/{list}/run",
        "/checks/walks/{uuid}/steps/{step}",
        {"expected": "yes", "take": "1"},
    ),
    "figure": Write(
        "/forecast/figures/driven_weight_share",
        "/forecast/figures/driven_weight_share",
        {"value": "0.52", "measured": "yes"},
    ),
    "pack": Write("/packs/{pack}", "/packs/{pack}/in-car", {}),
    "run": Write(
        "/runs/new", "/runs/new", {"can_c": "61", "pack_id": "", "started": "2026-05-16T09:00"}
    ),
}
EVERY_WRITE = pytest.mark.parametrize("write", WRITES.values(), ids=WRITES)
LATE = {"X-Waited-Seconds": "60"}


class Garage:
    """An app with two cars: `mine`, which the pages are opened for, and `other`."""

    def __init__(self, app: Flask, clock: Clock) -> None:
        self.app = app
        self.client = cast(PageClient, app.test_client())
        self.db: sqlite3.Connection = app.extensions["pitapp.db"].connection()
        self.mine, self.other = (each.id for each in kit.cars(self.db))
        self.names = {each.id: each.name for each in kit.cars(self.db)}
        for car in kit.cars(self.db):
            gearing.fit(self.db, car, 45, 66, clock())
        on = tyres.fitted(self.db, self.mine).tyre_set_id
        off = next(each.id for each in tyres.tyre_sets(self.db) if each.id != on)
        controller, _ = controllers.add(
            self.db, Controller(name="Spare", version=1), (), None, clock()
        )
        checklist = next(each for each in lists.checklists(self.db) if not each.controller_id)
        self.known = {
            "tyres": off,
            "other": self.other,
            "pack": next(each.id for each in packs.packs(self.db) if each.condition == "sound"),
            "controller": controller,
            "list": checklist.id,
            "step": lists.steps(self.db, checklist.id)[0].id,
            "uuid": uuid4(),
        }
        self.choose(self.mine)

    def choose(self, car_id: int) -> None:
        assert self.client.post_form(f"/kit/cars/{car_id}/choose").status_code == 303

    def address(self, text: str) -> str:
        return text.format(**self.known)

    def send(self, write: Write, car_id: int | str | None, **options: Any) -> TestResponse:
        about = {} if car_id is None else {"car_id": str(car_id)}
        return self.client.post_form(self.address(write.to), write.typed | about, **options)

    def rows(self, car_id: int) -> dict[str, list[tuple[Any, ...]]]:
        """All that is on record of a car, by table."""
        return {
            table: [
                tuple(row)
                for row in self.db.execute(
                    f"SELECT * FROM {table} WHERE car_id = ? ORDER BY id", (car_id,)
                )
            ]
            for table in OF_A_CAR
        }


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season") / "data"
    app = create_app(folder, clock=Clock())
    fill(app)
    database: sqlite3.Connection = app.extensions["pitapp.db"].connection()
    first, second = kit.cars(database)
    database.execute("UPDATE car_setup SET car_id = ? WHERE car_id = ?", (second.id, first.id))
    app.extensions["pitapp.db"].close()
    return folder


@pytest.fixture
def garage(season: Path, tmp_path: Path, clock: Clock) -> Iterator[Garage]:
    app = create_app(shutil.copytree(season, tmp_path / "season"), clock=clock)
    app.test_client_class = PageClient
    yield Garage(app, clock)
    app.extensions["pitapp.db"].close()


def form_to(page: str, address: str) -> str:
    """The form of a page that is sent to an address; that of a run-through is of any uuid."""
    address = re.sub(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", "[^/]+", address)
    found = re.search(rf'<form[^>]*method="post" action="{address}".*?</form>', page, re.DOTALL)
    assert found is not None, f"no form to {address}"
    return found[0]


def names_car(form: str, car_id: int) -> bool:
    return re.search(rf'name="car_id"[^>]* value="{car_id}"', form) is not None


def notices(client: PageClient) -> str:
    found = re.search(r'<div id="notices".*?<nav', client.get("/more").text, re.DOTALL)
    assert found is not None
    return unescape(found[0])


@EVERY_WRITE
def test_a_form_says_which_car_it_is_about(garage: Garage, write: Write) -> None:
    page = garage.client.get(garage.address(write.page)).text
    form = form_to(page, garage.address(write.to))
    assert names_car(form, garage.mine)


@EVERY_WRITE
def test_what_is_saved_is_of_the_car_that_the_page_was_about(garage: Garage, write: Write) -> None:
    before = garage.rows(garage.mine), garage.rows(garage.other)
    garage.choose(garage.other)
    notices(garage.client)
    answer = garage.send(write, garage.mine)
    assert answer.status_code == 303, answer.text
    assert garage.rows(garage.other) == before[1]
    assert garage.rows(garage.mine) != before[0]
    if write.to not in ("/runs/new", WRITES["run-through"].to):
        said = notices(garage.client)
        assert all(name in said for name in garage.names.values()), said


@EVERY_WRITE
def test_one_that_waited_is_of_the_car_that_it_was_made_for(garage: Garage, write: Write) -> None:
    before = garage.rows(garage.other)
    garage.choose(garage.other)
    assert garage.send(write, garage.mine, headers=LATE).status_code == 303
    assert garage.rows(garage.other) == before


@EVERY_WRITE
def test_without_a_car_the_one_in_use_is_meant(garage: Garage, write: Write) -> None:
    before = garage.rows(garage.mine), garage.rows(garage.other)
    assert garage.send(write, None).status_code == 303
    assert garage.rows(garage.other) == before[1]
    assert garage.rows(garage.mine) != before[0]


@EVERY_WRITE
def test_one_that_waited_without_a_car_asks_for_it(garage: Garage, write: Write) -> None:
    before = garage.rows(garage.mine), garage.rows(garage.other)
    answer = garage.send(write, None, headers=LATE)
    assert answer.status_code == 422
    assert_asks_for_a_car(answer.text, write, {garage.mine, garage.other})
    assert (garage.rows(garage.mine), garage.rows(garage.other)) == before


@pytest.mark.parametrize("name", [each for each in WRITES if each != "copied set-up"])
def test_one_that_waited_without_a_car_is_of_the_only_one(garage: Garage, name: str) -> None:
    write = WRITES[name]
    before = garage.rows(garage.mine)
    kit.remove(garage.db, "cars", garage.other, RACE_MORNING)
    assert garage.send(write, None, headers=LATE).status_code == 303
    assert garage.rows(garage.mine) != before


@EVERY_WRITE
@pytest.mark.parametrize("headers", [{}, LATE], ids=["at once", "late"])
def test_for_a_car_that_was_removed_another_may_be_chosen(
    garage: Garage, write: Write, headers: dict[str, str]
) -> None:
    kit.remove(garage.db, "cars", garage.mine, RACE_MORNING)
    before = garage.rows(garage.mine), garage.rows(garage.other)
    answer = garage.send(write, garage.mine, headers=headers)
    assert answer.status_code == 409
    assert f"{garage.names[garage.mine]} was removed" in unescape(answer.text)
    assert_asks_for_a_car(answer.text, write, {garage.other})
    assert (garage.rows(garage.mine), garage.rows(garage.other)) == before


def assert_asks_for_a_car(page: str, write: Write, cars: set[int]) -> None:
    """The page lets a car be chosen, has nothing chosen yet, and sends again what was typed."""
    asked = re.search(r'<select[^>]* name="car_id".*?</select>', page, re.DOTALL)
    assert asked is not None
    chosen = re.findall(r'<option[^>]*value="(\d*)"', asked[0])
    assert {int(each) for each in chosen if each} == cars
    assert chosen[0] == ""
    for name, value in write.typed.items():
        assert re.search(rf'name="{name}"[^>]*value="{re.escape(value)}"', page), name


def test_a_run_is_not_taken_until_its_car_is_chosen(garage: Garage) -> None:
    before = garage.rows(garage.other)
    assert garage.send(WRITES["run"], "").status_code == 422
    assert garage.rows(garage.other) == before


def test_a_tilt_test_that_waited_is_of_the_gear_of_its_moment(garage: Garage, clock: Clock) -> None:
    clock.tick(3600)
    gearing.fit(garage.db, kit.car(garage.db, garage.mine), 40, 72, clock())
    clock.tick(60)
    headers = {"X-Waited-Seconds": "1800"}
    assert garage.send(WRITES["tilt test"], garage.mine, headers=headers).status_code == 303
    (test,) = garage.rows(garage.mine)["tilt_tests"][-1:]
    assert {45, 66} < set(test)


def test_a_mistake_is_shown_for_the_car_that_the_page_was_about(garage: Garage) -> None:
    garage.choose(garage.other)
    for name, wrong in (
        ("gear", {"pinion": "x"}),
        ("parked", {"slope_deg": "x"}),
        ("tilt test", {"angle_deg": "x"}),
        ("set-up", {"lines": ""}),
        ("part", {"mass_g": "x"}),
        ("corners", {"front_left_g": "x"}),
        ("leads", {"length_mm": "x"}),
        ("new controller", {"name": ""}),
        ("figure", {"value": "x"}),
        ("run", {"can_c": "x"}),
    ):
        write = WRITES[name]
        answer = garage.send(write._replace(typed=write.typed | wrong), garage.mine)
        assert answer.status_code == 422, name
        form = form_to(answer.text, garage.address(write.to))
        assert names_car(form, garage.mine), name


def test_a_motors_figure_is_of_the_motor_that_the_page_was_about(garage: Garage) -> None:
    car = kit.car(garage.db, garage.mine)
    other = next(each.id for each in kit.motors(garage.db) if each.id != car.motor_id)
    kit.save_car(garage.db, car.model_copy(update={"motor_id": other}), RACE_MORNING)
    typed = {"value": "93", "measured": "yes", "motor_id": str(car.motor_id)}
    write = Write("", "/forecast/figures/can_limit_c", typed)
    assert garage.send(write, garage.mine).status_code == 303
    (row,) = garage.db.execute("SELECT motor_id, value FROM forecast_inputs").fetchall()
    assert tuple(row) == (car.motor_id, 93)


def test_no_write_asks_for_the_car_in_use() -> None:
    asking = [
        f"{file.name}: {node.name}"
        for file in python_files(PACKAGE)
        for node in ast.walk(tree(file))
        if isinstance(node, ast.FunctionDef)
        and any(ast.unparse(each) == "write" for each in node.decorator_list)
        and re.search(r"\b(car_in_use|current_car)\(", ast.unparse(node))
    ]
    assert asking == []

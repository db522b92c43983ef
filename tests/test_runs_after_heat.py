"""After the flag: its clock fills the log, and the list and the log are one thing, whichever comes first."""

from __future__ import annotations

import re
import sqlite3
import uuid

import pytest

from pitapp.checks import store as checks
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Step
from pitapp.kit import store as kit
from pitapp.meetings import store as meetings
from pitapp.runs import store
from tests.runs_support import Pit, form_values, furnish
from tests.support import Clock, PageClient

DONE = {"take": "1", "expected": "done"}
WALK = str(uuid.UUID(int=7, version=4))


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    """A heat that began eight minutes ago."""
    return furnish(db)


@pytest.fixture
def steps(db: sqlite3.Connection) -> dict[str, Step]:
    """The steps of the list for straight after a heat, by their topic or name."""
    (own,) = [each for each in lists.checklists(db) if each.occasion == "after"]
    return {each.topic or each.name: each for each in lists.steps(db, own.id)}


def opened(client: PageClient, path: str = "/runs/new") -> dict[str, str]:
    return form_values(client.get(path).get_data(as_text=True))


def answer(client: PageClient, step: Step, pit: Pit, **values: str) -> int:
    path = f"/checks/walks/{WALK}/steps/{step.id}"
    return client.post_form(path, {"car_id": str(pit.car)} | values).status_code


def undo_path(page: str) -> str:
    found: list[str] = re.findall(r'action="(/undo/[^"]+)"', page)
    return found[-1]


def test_the_flag_is_one_tap_on_the_board_and_its_clock_fills_the_log(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    path = f"/meetings/heats/{pit.heats[0]}/flag"
    assert f'action="{path}"' in client.get("/").get_data(as_text=True)
    answered = client.post_form(path)
    assert answered.location == f"/runs/new?heat={pit.heats[0]}"
    assert meetings.heat(db, pit.heats[0]).flag_at == clock()
    assert f'action="{path}"' not in client.get("/").get_data(as_text=True)
    clock.tick(43)
    page = client.get(str(answered.location)).get_data(as_text=True)
    values = form_values(page)
    assert values["read_after_s"] == "43"
    assert f'data-flag-at="{int(clock().timestamp()) - 43}"' in page
    client.post_form("/runs/new", values | {"can_c": "66"})
    (run,) = store.runs(db)
    assert (run.can_c, run.read_after_s, run.heat_id) == (66, 43, pit.heats[0])


def test_a_flag_is_undone_and_an_old_one_fills_nothing(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    path = f"/meetings/heats/{pit.heats[0]}/flag"
    page = client.post_form(path, follow_redirects=True).get_data(as_text=True)
    client.post_form(undo_path(page))
    assert meetings.heat(db, pit.heats[0]).flag_at is None
    client.post_form(path)
    clock.tick(3601)
    assert opened(client, f"/runs/new?heat={pit.heats[0]}")["read_after_s"] == ""


def test_a_heat_that_is_not_on_has_no_flag(client: PageClient, pit: Pit, clock: Clock) -> None:
    clock.tick(23 * 60)
    assert re.search(r"<form[^>]*data-flag[^>]*hidden", client.get("/").get_data(as_text=True))


def test_what_the_list_read_is_in_the_log(
    client: PageClient, pit: Pit, steps: dict[str, Step], clock: Clock
) -> None:
    assert answer(client, steps["can_c"], pit, shown="64") == 303
    assert answer(client, steps["read_after_s"], pit, shown="25") == 303
    values = opened(client)
    assert (values["can_c"], values["read_after_s"]) == ("64", "25")
    clock.tick(21 * 60)  # the next heat's readings are its own
    assert opened(client)["can_c"] == ""


def test_what_the_log_has_is_answered_on_an_open_list_and_undone_with_it(
    client: PageClient, db: sqlite3.Connection, pit: Pit, steps: dict[str, Step]
) -> None:
    answer(client, steps["Car off, then the transmitter"], pit, **DONE)
    values = opened(client) | {"can_c": "66", "read_after_s": "30"}
    page = client.post_form("/runs/new", values, follow_redirects=True).get_data(as_text=True)
    walk = checks.checklist_run(db, WALK)
    shown = {each.key: each.shown for each in checks.answers(db, walk.id)}
    assert (shown["can_c"], shown["read_after_s"], shown["log"]) == ("66", "30", "done")
    client.post_form(undo_path(page))
    assert store.runs(db) == []
    assert len(checks.answers(db, walk.id)) == 1


def test_a_list_begun_after_the_log_goes_on_behind_it(
    client: PageClient, db: sqlite3.Connection, pit: Pit, steps: dict[str, Step]
) -> None:
    client.post_form("/runs/new", opened(client) | {"can_c": "66", "read_after_s": "30"})
    page = client.get(f"/checks/lists/{steps['can_c'].checklist_id}/run").get_data(as_text=True)
    assert "Car off, then the transmitter" in page
    answer(client, steps["Car off, then the transmitter"], pit, **DONE)
    shown = {each.key: each.shown for each in checks.answers(db, checks.checklist_run(db, WALK).id)}
    assert (shown["can_c"], shown["log"]) == ("66", "done")


def test_a_reading_on_the_list_fills_the_run_that_lacks_it(
    client: PageClient, db: sqlite3.Connection, pit: Pit, steps: dict[str, Step], clock: Clock
) -> None:
    client.post_form("/runs/new", opened(client) | {"best_lap_s": "15.2"})
    clock.tick(30)
    answer(client, steps["can_c"], pit, shown="61")
    (run,) = store.runs(db)
    assert (run.can_c, run.best_lap_s) == (61, 15.2)
    answer(client, steps["can_c"], pit, shown="63")  # a run that has one keeps its own
    assert store.run(db, run.id).can_c == 61


def test_the_lists_last_step_is_the_log(
    client: PageClient, pit: Pit, steps: dict[str, Step]
) -> None:
    assert list(steps)[-1] == "log"
    for key, step in list(steps.items())[:-1]:
        value = {"number": {"shown": "60"}, "yesno": {"shown": "yes"}}.get(step.kind, DONE)
        assert answer(client, step, pit, **value) == 303, key
    page = client.get(f"/checks/walks/{WALK}").get_data(as_text=True)
    assert 'href="/runs/new">Log the run</a>' in page


def test_another_cars_run_answers_nothing(
    client: PageClient, db: sqlite3.Connection, pit: Pit, steps: dict[str, Step], clock: Clock
) -> None:
    answer(client, steps["Car off, then the transmitter"], pit, **DONE)
    other, _ = kit.save_car(
        db, kit.car(db, pit.car).model_copy(update={"id": 0, "name": "Spare"}), clock()
    )
    values = opened(client, f"/runs/new?car={other}") | {"can_c": "66", "pack_id": ""}
    client.post_form("/runs/new", values)
    assert store.runs(db)[0].car_id == other
    assert len(checks.answers(db, checks.checklist_run(db, WALK).id)) == 1

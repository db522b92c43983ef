"""Two devices tap on what both saw: the second tap does nothing, and shows what there is now."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from datetime import timedelta
from html import unescape
from typing import NamedTuple

import pytest
from werkzeug.test import TestResponse

from pitapp.checks.lists import store as lists
from pitapp.checks.models import Checklist, Step
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting
from pitapp.packs.charging import store as charging
from pitapp.runs.formulas import SetupLine
from pitapp.runs.setup import store as setup
from tests.packs_walk import CHARGER, add_pack, start, walk
from tests.support import RACE_MORNING, PageClient

HTMX = {"HX-Request": "true"}
LATE = {"X-Waited-Seconds": "60"}


class Tap(NamedTuple):
    """A form as its page gives it with a button pressed, and what it moves."""

    page: str
    to: str
    button: dict[str, str]
    moved: Callable[[], object]
    part: str = ""

    def fields(self, client: PageClient) -> dict[str, str]:
        """What the page would send now."""
        found = re.findall(
            rf'<form[^>]*method="post" action="{self.to}".*?</form>',
            client.get(self.page).text,
            re.DOTALL,
        )
        assert found, self.to
        hidden = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', found[0]))
        return hidden | self.button


@pytest.fixture
def taps(client: PageClient, db: sqlite3.Connection) -> dict[str, Tap]:
    car_id, _ = kit.save_car(
        db,
        Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63),
        RACE_MORNING,
    )
    day = Meeting(day=RACE_MORNING.date(), time_zone="UTC", name="Invented round", car_id=car_id)
    begins = [RACE_MORNING + timedelta(minutes=minutes) for minutes in (60, 120, 180)]
    meeting_id, _ = meetings.save_meeting(
        db, day, RACE_MORNING, [Entry("heat", each) for each in begins]
    )
    setup.add(db, car_id, [SetupLine("", name, "5.2", "mm") for name in "ABCDE"], RACE_MORNING)
    steps = [Step(checklist_id=0, name=name, kind="do") for name in "ABCD"]
    list_id, _ = lists.add_checklist(db, Checklist(name="Own", version=1), steps, RACE_MORNING)
    pack_id = add_pack(db)
    assert client.post_form("/packs/plan/settings", CHARGER | {"along": str(pack_id)}).location
    uuid = walk(db, pack_id)
    assert start(client, uuid).status_code == 303

    def times() -> object:
        return [heat.starts_at for heat in meetings.heats(db, meeting_id)]

    def values() -> object:
        return [(one.name, one.value) for one in setup.entries(db, car_id)]

    def order() -> object:
        return [each.name for each in lists.steps(db, list_id)]

    step_id = lists.steps(db, list_id)[2].id
    moves = f"/checks/lists/steps/{step_id}/move"
    later = {"minutes": "5"}
    return {
        "board": Tap("/", "/meetings/heats/1/shift", later, times, "board-part"),
        "meeting": Tap("/meetings/1", "/meetings/heats/1/shift", later, times, "meeting-part"),
        "heat": Tap("/meetings/heats/1", "/meetings/heats/1/shift", later, times, "heat-part"),
        "day": Tap("/packs/plan", "/packs/plan/late", {"minutes": "10"}, times),
        "countdown": Tap(
            f"/packs/charges/{uuid}",
            f"/packs/charges/{uuid}/longer",
            later,
            lambda: charging.charge(db, uuid).due_at,
        ),
        "value": Tap("/runs/setup/1", "/runs/setup/1", {"nudge": "more"}, values, "entry-part"),
        "entry": Tap("/runs/setup/2", "/runs/setup/2/move", {"to": "down"}, values),
        "step": Tap(f"/checks/lists/{list_id}", moves, {"to": "up"}, order, "list-part"),
    }


EVERY = pytest.mark.parametrize(
    "name", ["board", "meeting", "heat", "day", "countdown", "value", "entry", "step"]
)
WAITING = pytest.mark.parametrize("name", ["board", "meeting", "heat", "countdown", "value"])


@pytest.fixture
def other(client: PageClient) -> PageClient:
    """Another device."""
    second = client.application.test_client()
    assert isinstance(second, PageClient)
    return second


def why(answer: TestResponse) -> str:
    found = re.search(r'class="error" role="alert">.*?<span>([^<]*)</span>', answer.text, re.DOTALL)
    assert found is not None, answer.text
    return unescape(found[1])


def of_its_own(fields: dict[str, str]) -> dict[str, str]:
    """What another device's page sends: the same with a token of its own."""
    return {name: value for name, value in fields.items() if name != "csrf_token"}


@EVERY
def test_the_second_tap_on_the_same_sight_does_nothing_and_says_so(
    client: PageClient, other: PageClient, taps: dict[str, Tap], name: str
) -> None:
    tap = taps[name]
    seen, before = tap.fields(client), tap.moved()
    assert client.post_form(tap.to, seen).status_code == 303
    once = tap.moved()
    assert once != before
    second = other.post_form(tap.to, of_its_own(seen))
    assert second.status_code == 409
    assert "on another screen" in why(second)
    assert tap.moved() == once
    assert "on another screen" not in client.get(tap.page).text


@EVERY
def test_the_second_is_shown_what_to_tap_on_now(
    client: PageClient, taps: dict[str, Tap], name: str
) -> None:
    tap = taps[name]
    seen = tap.fields(client)
    client.post_form(tap.to, seen)
    once = tap.moved()
    assert client.post_form(tap.to, tap.fields(client)).status_code == 303
    assert tap.moved() != once


@pytest.mark.parametrize("name", ["board", "meeting", "heat", "value", "step"])
def test_for_htmx_the_part_itself_is_the_answer(
    client: PageClient, other: PageClient, taps: dict[str, Tap], name: str
) -> None:
    tap = taps[name]
    seen = tap.fields(client)
    client.post_form(tap.to, seen, headers=HTMX)
    seen = of_its_own(seen)
    second = other.post_form(tap.to, seen, headers=HTMX)
    assert second.status_code == 409
    assert second.text.startswith(f'<div id="{tap.part}"')
    assert "on another screen" in why(second)
    form = re.search(rf'action="{tap.to}".*?</form>', second.text, re.DOTALL)
    assert form is not None
    (saw,) = re.findall(r'name="saw" value="(\d+)"', form[0])
    assert other.post_form(tap.to, seen | {"saw": saw}).status_code == 303


@pytest.mark.parametrize("name", ["board", "meeting", "heat", "day", "countdown", "value"])
def test_two_quick_taps_of_one_device_count_twice(
    client: PageClient, taps: dict[str, Tap], name: str
) -> None:
    tap = taps[name]
    seen = tap.fields(client)
    assert client.post_form(tap.to, seen).status_code == 303
    once = tap.moved()
    assert client.post_form(tap.to, seen).status_code == 303
    assert tap.moved() != once


def test_the_sentence_tells_the_present_time(
    client: PageClient, other: PageClient, taps: dict[str, Tap]
) -> None:
    seen = taps["board"].fields(client)
    client.post_form("/meetings/heats/1/shift", seen)
    said = why(other.post_form("/meetings/heats/1/shift", of_its_own(seen)))
    assert "Heat 1" in said
    assert "10:05" in said


@EVERY
def test_a_tap_that_does_not_say_what_it_saw_is_on_what_there_is(
    client: PageClient, taps: dict[str, Tap], name: str
) -> None:
    tap = taps[name]
    seen = tap.fields(client)
    del seen["saw"]
    before = tap.moved()
    assert client.post_form(tap.to, seen).status_code == 303
    assert tap.moved() != before


@WAITING
def test_one_that_waited_must_say_what_it_saw(
    client: PageClient, taps: dict[str, Tap], name: str
) -> None:
    tap = taps[name]
    seen, before = tap.fields(client), tap.moved()
    without = {field: value for field, value in seen.items() if field != "saw"}
    answer = client.post_form(tap.to, without, headers=LATE)
    assert answer.status_code == 422
    assert re.search(r'name="saw" value="\d+"', answer.text)
    assert tap.moved() == before
    assert client.post_form(tap.to, seen, headers=LATE).status_code == 303


@pytest.mark.parametrize(
    "name", ["board", "meeting", "heat", "countdown", "value", "entry", "step"]
)
def test_what_was_undone_can_be_tapped_again(
    client: PageClient, taps: dict[str, Tap], name: str
) -> None:
    tap = taps[name]
    seen, before = tap.fields(client), tap.moved()
    page = client.post_form(tap.to, seen, follow_redirects=True).text
    client.post_form(re.findall(r'action="(/undo/[^"]+)"', page)[-1])
    assert tap.moved() == before
    assert client.post_form(tap.to, seen).status_code == 303


def test_a_typed_value_needs_no_sight_of_the_one_before(
    client: PageClient, taps: dict[str, Tap]
) -> None:
    for value in ("5.4", "5.6"):
        sent = client.post_form("/runs/setup/1", {"value": value, "saw": "1"})
        assert sent.status_code == 303

"""Which pack a run had: preset or asked, emptied by it, and given back by its undo."""

from __future__ import annotations

import re
import sqlite3
from datetime import datetime, timedelta
from io import BytesIO
from typing import Literal
from uuid import uuid4

import pytest

from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting
from pitapp.packs import overview
from pitapp.packs import store as packs
from pitapp.packs.charging import store as charging
from pitapp.packs.health.state import PackState
from pitapp.packs.models import ChargerRecord, DayPlan, PlannedHeat, PlanRecord, Reading
from pitapp.packs.planning import store as planning
from pitapp.runs import store as runs
from tests.packs_walk import add_pack, walk
from tests.runs_support import form_values
from tests.support import RACE_MORNING, Clock, PageClient

CAR = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
TYPED = {"can_c": "71", "read_after_s": "30"}


def at(minutes: float) -> datetime:
    return RACE_MORNING + timedelta(minutes=minutes)


def on_the_charger(
    db: sqlite3.Connection,
    pack_id: int,
    begin: float,
    due: float,
    purpose: Literal["full", "storage"] = "full",
) -> str:
    item = charging.charge(db, walk(db, pack_id, purpose))
    figures = {"due_at": at(due), "start_percent": 20.0}
    charging.start(db, item.model_copy(update=figures), "On", at(begin))
    return item.uuid


def charged(db: sqlite3.Connection, pack_id: int, end: float = -20) -> None:
    uuid = on_the_charger(db, pack_id, end - 45, end)
    charging.finish(db, charging.charge(db, uuid), "done", None, at(end))


class Day:
    """A car at a meeting whose heats were due 10 min ago and in half an hour, and packs A and B."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self.db = db
        self.car, _ = kit.save_car(db, CAR, RACE_MORNING)
        kit.choose_car(db, self.car)
        meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC", car_id=self.car)
        entries = [Entry("heat", at(-10)), Entry("heat", at(30))]
        self.meeting, _ = meetings.save_meeting(db, meeting, RACE_MORNING, entries)
        self.heats = [heat.id for heat in meetings.heats(db, self.meeting)]
        self.a, self.b = add_pack(db, mark="A"), add_pack(db, mark="B")

    def plan(self, *marks: int | None) -> None:
        """A charge plan with these packs for the heats, kept as the planner would."""
        heats = tuple(
            PlannedHeat(
                heat_id=heat_id,
                title="Heat",
                starts_at=RACE_MORNING,
                pack_id=pack_id,
                percent=100,
                cell_v=4.2,
                full=True,
            )
            for heat_id, pack_id in zip(self.heats, marks, strict=True)
        )
        record = PlanRecord(
            meeting_id=self.meeting, used_mah=3000, made_at=RACE_MORNING, plan=DayPlan(heats=heats)
        )
        own = ChargerRecord(name="Invented", outputs=1, amps_per_output=10, watts_per_output=150)
        planning.save(self.db, record, own, "Made", RACE_MORNING)

    def state(self, pack_id: int) -> PackState:
        return next(one for one in overview.states(self.db) if one.pack.id == pack_id)


@pytest.fixture
def day(db: sqlite3.Connection) -> Day:
    return Day(db)


def form(client: PageClient, address: str = "/runs/new") -> dict[str, str]:
    return form_values(client.get(address).text)


def log(client: PageClient, **changes: str) -> None:
    """Log a run as a browser would that sends the form as it is shown."""
    sent = client.post_form("/runs/new", form(client) | TYPED | changes)
    assert sent.status_code == 303, sent.text


def undo(client: PageClient, db: sqlite3.Connection) -> None:
    """Undo the newest change."""
    (token,) = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()
    assert client.post_form(f"/undo/{token}").status_code == 303


def board(client: PageClient) -> str:
    return client.get("/").text


# --- which pack is preset -------------------------------------------------------------------------


def test_the_plans_pack_is_preset_and_shown(client: PageClient, day: Day) -> None:
    charged(day.db, day.a)
    charged(day.db, day.b)
    day.plan(day.b, day.a)
    page = client.get("/runs/new").text
    assert form_values(page)["pack_id"] == str(day.b)
    assert "pack B, as planned" in page
    log(client)
    assert runs.runs(day.db)[0].pack_id == day.b


def test_the_pack_put_in_is_preset_whatever_was_planned(client: PageClient, day: Day) -> None:
    charged(day.db, day.a)
    charged(day.db, day.b)
    day.plan(day.b, day.a)
    assert client.post_form(f"/packs/{day.a}/in-car", {"car_id": str(day.car)}).status_code == 303
    assert form(client)["pack_id"] == str(day.a)


def test_a_planned_pack_that_is_on_the_charger_or_ran_already_is_not_taken(
    client: PageClient, day: Day
) -> None:
    charged(day.db, day.a)
    day.plan(day.b, day.a)
    on_the_charger(day.db, day.b, -30, 5)
    assert form(client)["pack_id"] == str(day.a)
    log(client)
    day.plan(None, day.a)
    charged(day.db, add_pack(day.db, mark="C"))
    assert form(client, f"/runs/new?heat={day.heats[1]}")["pack_id"] not in (
        str(day.a),
        str(day.b),
    )


def test_the_only_full_pack_is_preset_and_of_one_pack_that_one(
    client: PageClient, day: Day
) -> None:
    charged(day.db, day.b)
    assert form(client)["pack_id"] == str(day.b)
    packs.remove(day.db, "packs", day.b, "Removed", RACE_MORNING)
    assert form(client)["pack_id"] == str(day.a)


def test_where_nothing_says_which_it_is_asked(client: PageClient, day: Day) -> None:
    page = client.get("/runs/new").text
    offered = re.findall(r'<input type="radio" name="pack_id" value="(\d*)" required>', page)
    assert sorted(offered) == sorted(["", str(day.a), str(day.b)])
    sent = client.post_form("/runs/new", form_values(page) | TYPED)
    assert sent.status_code == 422
    assert 'id="pack_id-error"' in sent.text
    assert form_values(sent.text)["can_c"] == "71"
    assert "pack_id" not in form_values(sent.text)
    assert runs.runs(day.db) == []
    log(client, pack_id="")
    assert runs.runs(day.db)[0].pack_id is None


def test_a_racer_with_no_packs_on_record_is_not_asked(client: PageClient, day: Day) -> None:
    for pack_id in (day.a, day.b):
        packs.remove(day.db, "packs", pack_id, "Removed", RACE_MORNING)
    assert 'name="pack_id"' not in client.get("/runs/new").text
    log(client)


def test_a_post_that_leaves_the_question_out_takes_what_is_likely(
    client: PageClient, day: Day
) -> None:
    charged(day.db, day.b)
    values = form(client) | TYPED
    del values["pack_id"]
    assert client.post_form("/runs/new", values).status_code == 303
    run = runs.runs(day.db)[0]
    assert run.pack_id == day.b
    path = f"/runs/{run.id}/edit"
    changed = {name: value for name, value in form(client, path).items() if name != "pack_id"}
    assert client.post_form(path, changed | {"laps": "12"}).status_code == 303
    assert (runs.runs(day.db)[0].laps, runs.runs(day.db)[0].pack_id) == (12, day.b)


def test_a_pack_that_the_run_has_broken_can_still_be_logged(client: PageClient, day: Day) -> None:
    charged(day.db, day.a)
    day.plan(day.a, None)
    values = form(client) | TYPED
    packs.set_condition(day.db, day.a, "damaged", "Dented", at(1))
    assert client.post_form("/runs/new", values).status_code == 303
    assert runs.runs(day.db)[0].pack_id == day.a


# --- what the run makes of it ---------------------------------------------------------------------


def test_a_run_logged_as_it_is_shown_empties_its_pack_everywhere(
    client: PageClient, day: Day
) -> None:
    charged(day.db, day.a)
    assert "Full: A" in board(client)
    log(client)
    assert day.state(day.a).newest[0] == "run"
    assert day.state(day.a).percent == pytest.approx(40)
    assert "Full: A" not in board(client)
    assert "run today 08:50" in client.get("/packs").text
    charger = {"name": "Invented", "outputs": "1", "amps_per_output": "10"}
    more = {"watts_per_output": "150", "discharge_a": "1", "used_mah": "3000"}
    limits = {"most_full_min": "120", "cooling_min": "5", "along": str(day.a)} | {"watched": "yes"}
    assert client.post_form("/packs/plan/settings", charger | more | limits).status_code == 303
    record = planning.plan(day.db, day.meeting)
    assert record is not None
    assert record.plan is not None
    assert record.plan.heats[0].full is False


def test_its_undo_gives_the_charge_back_and_the_pack_is_in_the_car_again(
    client: PageClient, day: Day
) -> None:
    charged(day.db, day.a)
    client.post_form(f"/packs/{day.a}/in-car", {"car_id": str(day.car)})
    assert "A is in the car, full" in board(client)
    log(client)
    assert day.state(day.a).in_car is None
    assert "in the car" not in board(client)
    undo(client, day.db)
    assert day.state(day.a).full
    assert "A is in the car, full" in board(client)


def test_editing_the_runs_pack_moves_what_was_used(client: PageClient, day: Day) -> None:
    charged(day.db, day.a)
    charged(day.db, day.b)
    log(client, pack_id=str(day.a))
    path = f"/runs/{runs.runs(day.db)[0].id}/edit"
    assert form(client, path)["pack_id"] == str(day.a)
    sent = client.post_form(path, form(client, path) | {"pack_id": str(day.b)})
    assert sent.status_code == 303
    assert (day.state(day.a).full, day.state(day.b).full) == (True, False)
    undo(client, day.db)
    assert (day.state(day.a).full, day.state(day.b).full) == (False, True)


def test_a_run_that_waited_on_the_phone_empties_its_pack_too(
    client: PageClient, day: Day, clock: Clock
) -> None:
    charged(day.db, day.a)
    values = form(client) | TYPED
    clock.tick(3600)
    late = {"X-Waited-Seconds": "3600", "Idempotency-Key": str(uuid4())}
    for _ in range(2):
        assert client.post_form("/runs/new", values, headers=late).status_code == 303
    assert not day.state(day.a).full
    undo(client, day.db)
    assert day.state(day.a).full


def test_a_heat_that_ran_late_still_empties_the_pack_charged_meanwhile(
    client: PageClient, day: Day, clock: Clock
) -> None:
    """The heat was due at 08:50 and began at 08:58; its pack came off the charger at 08:55."""
    charged(day.db, day.a, end=-5)
    clock.tick(600)
    log(client)
    assert runs.runs(day.db)[0].started_at == at(-10)
    assert not day.state(day.a).full


def test_a_voltage_read_before_a_late_heat_does_not_fill_the_pack_again(
    client: PageClient, day: Day
) -> None:
    charged(day.db, day.a)
    reading = Reading(pack_id=day.a, read_at=at(-5), cell_v=(4.19, 4.19))
    packs.add_reading(day.db, reading, at(-5))
    log(client)
    assert not day.state(day.a).full
    # One read long after says that it was charged again, and a low one at once that it was run.
    later = reading.model_copy(update={"read_at": at(50)})
    packs.add_reading(day.db, later, at(50))
    assert day.state(day.a).full


def test_a_run_ends_a_charge_that_was_left_running_on_record(client: PageClient, day: Day) -> None:
    uuid = on_the_charger(day.db, day.a, -60, -15)
    log(client, pack_id=str(day.a))
    ended = charging.charge(day.db, uuid)
    assert (ended.ended_at, ended.outcome) == (at(-10), "done")
    assert day.state(day.a).newest[0] == "run"
    undo(client, day.db)
    assert charging.charge(day.db, uuid).ended_at is None
    early = on_the_charger(day.db, day.b, -30, 40)
    log(client, pack_id=str(day.b))
    assert charging.charge(day.db, early).outcome == "stopped"


def test_a_charge_begun_after_the_run_goes_on(client: PageClient, day: Day) -> None:
    uuid = on_the_charger(day.db, day.a, -2, 40)
    log(client, pack_id=str(day.a))
    assert charging.charge(day.db, uuid).ended_at is None
    assert day.state(day.a).charging is not None


def test_runs_from_a_file_empty_their_packs(client: PageClient, day: Day) -> None:
    charged(day.db, day.a)
    sheet = b"started,car,pack\n2026-05-16 08:50,Invented TC,A\n"
    data = {"file": (BytesIO(sheet), "runs.csv")}
    looked = client.post_form("/exchange/runs", data, content_type="multipart/form-data")
    digest = re.findall(r'name="digest" value="([^"]+)"', looked.text)
    assert client.post_form("/exchange/runs/take", {"digest": digest}).status_code == 303
    assert day.state(day.a).newest[0] == "run"


# --- into the car ---------------------------------------------------------------------------------


def test_a_pack_is_in_one_place_at_a_time(client: PageClient, day: Day) -> None:
    charged(day.db, day.a)
    other, _ = kit.save_car(day.db, CAR.model_copy(update={"name": "Other"}), RACE_MORNING)
    client.post_form(f"/packs/{day.a}/in-car", {"car_id": str(day.car)})
    client.post_form(f"/packs/{day.a}/in-car", {"car_id": str(other)})
    fit = day.state(day.a).in_car
    assert fit is not None
    assert fit.car_id == other
    assert "in Other" in client.get("/packs").text
    client.post_form(f"/packs/{day.b}/in-car", {"car_id": str(other)})
    assert day.state(day.a).in_car is None
    client.post_form(f"/packs/{day.b}/in-car", {"car_id": str(day.car)})
    on_the_charger(day.db, day.b, 1, 40)
    assert day.state(day.b).in_car is None


def test_what_cannot_be_put_in_is_refused(client: PageClient, day: Day) -> None:
    on_the_charger(day.db, day.a, -5, 40)
    packs.set_condition(day.db, day.b, "damaged", "", RACE_MORNING)
    for pack_id, words in ((day.a, "on the charger"), (day.b, "damaged")):
        sent = client.post_form(f"/packs/{pack_id}/in-car", {"car_id": str(day.car)})
        assert sent.status_code == 409
        assert words in sent.text
    charged(day.db, add_pack(day.db, mark="C"))
    kit.remove(day.db, "cars", day.car, RACE_MORNING)
    assert client.post_form("/packs/3/in-car", {"car_id": str(day.car)}).status_code == 409
    assert client.post_form("/packs/99/in-car", {"car": "1"}).status_code == 404


def test_a_run_of_before_leaves_the_pack_in_the_car(client: PageClient, day: Day) -> None:
    charged(day.db, day.a)
    client.post_form(f"/packs/{day.a}/in-car", {"car_id": str(day.car)})
    log(client, pack_id=str(day.b))
    assert day.state(day.a).in_car is not None
    log(client, pack_id=str(day.b), heat_id=str(day.heats[1]))
    assert day.state(day.a).in_car is None


def test_a_phone_with_no_server_has_the_form_of_each_heat_with_its_pack(
    client: PageClient, day: Day
) -> None:
    day.plan(day.a, day.b)
    kept = client.get("/offline/pages").get_json()["pages"]
    presets = [form_values(kept[f"/runs/new?heat={heat}"])["pack_id"] for heat in day.heats]
    assert presets == [str(day.a), str(day.b)]

"""What the server gives the worker: every file of this version, the late writes, the pages to keep."""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
import struct
import uuid
from datetime import timedelta
from typing import Any

import pytest
from flask import Flask

from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.db import settings
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.packs import store as packs
from pitapp.packs.charging import store as charging
from pitapp.packs.charging.prompts import STEPS
from pitapp.packs.models import Reading
from tests.house import ROOT
from tests.packs_walk import add_pack, walk
from tests.support import RACE_MORNING, Clock, PageClient, one_space

STATIC = ROOT / "static"
FIT = {"pinion": "45", "spur": "66"}


@pytest.fixture
def car(db: sqlite3.Connection) -> int:
    made, _ = kit.save_car(
        db,
        Car(name="Test car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63),
        RACE_MORNING,
    )
    return made


def told(client: PageClient) -> dict[str, Any]:
    script = client.get("/sw.js").text
    found = re.match(r"self\.PITAPP = (.*);\n", script)
    assert found is not None
    read: dict[str, Any] = json.loads(found[1])
    return read


def test_the_worker_is_asked_for_anew_each_time(client: PageClient) -> None:
    answer = client.get("/sw.js")
    assert answer.status_code == 200
    assert answer.mimetype == "text/javascript"
    assert answer.headers["Cache-Control"] == "no-cache"


def test_every_static_file_is_named_with_its_hash(client: PageClient) -> None:
    said = told(client)
    assert not set(said["files"]) & set(said["later"])
    assert {url.rsplit("/", 1)[0] for url in said["later"]} == {"/static/js/sound/passing"}
    files = dict(url.split("?v=") for url in said["files"] + said["later"])
    for path in STATIC.rglob("*"):
        name = path.relative_to(STATIC).as_posix()
        if path.is_dir() or path.suffix in ("", ".png") or name.startswith("js/sw/"):
            continue  # folders, licences, the install icons, and the worker's own parts
        digest = hashlib.sha256(client.get(f"/static/{name}").data).hexdigest()
        assert files.pop(f"/static/{name}") == digest[:12]
    assert files == {}


def test_every_strategy_is_in_the_worker(client: PageClient) -> None:
    script = client.get("/sw.js").text
    strategies = list((STATIC / "js" / "sw").glob("*.js"))
    assert strategies
    for path in strategies:
        for line in path.read_text().splitlines():
            assert line in script or line.lstrip().startswith(("//", "/*", "*"))


def test_files_that_are_missing_come_in_one_answer(client: PageClient) -> None:
    names = "css/base.css,js/gearing.js,../pyproject.toml,vendor/nothing.js"
    found = client.get("/offline/files", query_string={"names": names}).get_json()
    assert found == {
        name: client.get(f"/static/{name}").text for name in ("css/base.css", "js/gearing.js")
    }


@pytest.mark.parametrize(
    ("address", "then"),
    [
        ("/gearing/fit", "/gearing"),
        ("/runs/new", "/runs"),
        ("/packs/3/reading", "/packs/3"),
        ("/packs/charges/6f9d/start", "/packs/charges/6f9d"),
        ("/checks/walks/6f9d/steps/4", "/checks/walks/6f9d"),
    ],
)
def test_paddock_writes_may_come_late(client: PageClient, address: str, then: str) -> None:
    matches = [
        (rule, found)
        for rule in told(client)["writes"]
        if (found := re.match(rule["match"].replace("(?<", "(?P<"), address))
    ]
    assert len(matches) == 1
    rule, found = matches[0]
    assert rule["then"].format(**found.groupdict()) == then


def kept(client: PageClient) -> tuple[dict[str, str], list[dict[str, Any]]]:
    """The pages and the run-throughs that a phone is given, put together as the worker does it."""
    bundle = client.get("/offline/pages").get_json()
    return bundle["pages"], bundle["runs"]


def test_what_must_open_with_no_server_is_kept(client: PageClient, car: int) -> None:
    pages, runs = kept(client)
    named = {"/", "/gearing", "/checks", "/checks/card", "/runs", "/runs/new", "/packs/emergency"}
    assert named <= set(pages)
    for path, html in pages.items():
        assert html.startswith("<!doctype html>")
        assert html.endswith("</html>")
        assert re.findall(r'name="csrf_token" value="([^"]+)"', html) == [], path
        assert '<div id="offline-part"></div>' in html, path
    assert len(runs) >= 5
    frames = client.get("/offline/pages").get_json()["frames"]
    for frame in frames.values():
        assert frame.count("{title}") == 2
        assert frame.count("{part}") == 1
        assert "undo-bar" not in frame
    for run in runs:
        assert run["frame"] in frames
        for step in run["steps"]:
            assert 'method="post" action="{at}"' in step["html"]
            assert step["html"].count("{problem}") == 1
            assert re.findall(r'name="csrf_token" value="([^"]+)"', step["html"]) == []


def test_a_step_is_kept_with_what_the_class_asks(
    client: PageClient, db: sqlite3.Connection, car: int
) -> None:
    settings.save(db, "mass_unit", "imperial")
    race_class = RaceClass(name="Invented", least_mass_g=1350, most_start_v=8.40)
    class_id, _ = meetings.save_class(db, race_class, RACE_MORNING)
    meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=class_id)
    meetings.save_meeting(db, meeting, RACE_MORNING)
    run = next(each for each in kept(client)[1] if each["title"] == "Before scrutineering")
    weight, volts, height = run["steps"][:3]
    # 1350 g are 47.6198 oz (1 oz = 28.349523125 g, international avoirdupois)
    assert weight["limits"]["shown"]["least"] == pytest.approx(1350 / 28.349523125)
    assert weight["limits"]["shown"]["unit"] == " oz"
    assert "Shows {shown}, class limit at least 47.6" in one_space(weight["stopped"])
    assert 'name="stand"' in weight["stopped"]
    assert 'value="{typed-shown}"' in weight["html"]
    assert 'value="{typed-shown}"' in weight["stopped"]
    assert "{typed-reason}</textarea>" in weight["stopped"]
    assert "<details{open}>" in weight["stopped"]
    assert volts["limits"]["shown"]["most"] == 8.40
    assert "stopped" not in height
    assert set(height["limits"]["shown"]) == {"unit", "sensible", "number", "words"}


def test_a_charge_is_kept_with_its_limits(client: PageClient, db: sqlite3.Connection) -> None:
    settings.save(db, "temperature_unit", "imperial")
    pack_id = add_pack(db)
    damaged = add_pack(db, mark="B", damaged=True)
    pages, runs = kept(client)
    assert f"/packs/{damaged}" not in pages
    charges = {run["begin"]: run for run in runs if "start" in run}
    begin = f"/packs/{pack_id}/charge?purpose="
    assert set(charges) == {f"{begin}full", f"{begin}storage"}
    asked: dict[tuple[str, str], Any] = {}
    for step in charges[f"{begin}full"]["steps"]:
        asked |= {(step["key"], name): limit for name, limit in step["limits"].items()}
    assert [key for key, limit in asked.items() if limit.get("only") == "yes"] == [
        (step.key, "answer") for step in STEPS if step.kind == "yesno"
    ]
    warmth = asked["warmth", "cell_c"]
    assert (warmth["least"], warmth["most"]) == pytest.approx((32, 104))  # 0 and 40 °C: USFA
    assert (
        warmth["under"]
        == "The cells are at {shown}. Let them warm to 32 °F or more in a room first, never on a heater."
    )
    for place in range(2):
        cell = asked["cells", f"cell_v-{place}"]
        assert (cell["least"], cell["most"]) == (3.0, 4.25)
    assert asked["program", "cells_set"]["least"] == asked["program", "cells_set"]["most"] == 2
    assert asked["program", "current_a"]["most"] == 6
    assert "discharging" not in asked["program", "current_a"]
    by_key = {step["key"]: step for step in charges[f"{begin}storage"]["steps"]}
    program = by_key["program"]["limits"]
    assert program["current_a"]["most"] == 6
    assert program["current_a"]["discharging"]["most"] == 500


def test_a_kept_charge_of_a_pack_to_be_retired_has_its_second_tap_too(
    client: PageClient, db: sqlite3.Connection
) -> None:
    worn, sound = add_pack(db), add_pack(db, mark="B")
    low = Reading(pack_id=worn, read_at=RACE_MORNING, cell_v=(2.9, 3.7))
    packs.add_reading(db, low, RACE_MORNING)
    first = {run["begin"]: run["steps"][0]["html"] for run in kept(client)[1] if "start" in run}
    told = first[f"/packs/{worn}/charge?purpose=full"]
    assert "A cell rested at 2.90 V, under 3.0 V." in told
    assert 'action="{pack}/condition"' in told
    assert 'name="answer" value="yes"' not in told.split("<summary>Charge it all the same")[0]
    assert "retire" not in first[f"/packs/{sound}/charge?purpose=full"].lower()


def test_a_charge_that_was_begun_is_kept_as_it_stands(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    pack_id = add_pack(db)
    uuid = walk(db, pack_id, leave_out=("stay",), place="no")
    run = next(each for each in kept(client)[1] if each["uuid"] == uuid)
    assert run["begin"] == f"/packs/{pack_id}/charge?purpose=full"
    assert run["settled"] == [s.key for s in STEPS if s.key not in ("place", "stay")]
    assert run["given"]["cells"] == {"cell_v-0": "3.75", "cell_v-1": "3.76"}
    assert run["given"]["place"] == {"answer": "no"}
    assert run["since"] == RACE_MORNING.timestamp() * 1000
    charging.answer(db, charging.charge(db, uuid), "place", "yes", clock())
    charging.answer(db, charging.charge(db, uuid), "stay", "yes", clock())
    assert client.post_form(f"/packs/charges/{uuid}/start").status_code == 303
    # By then it may only be charged on, once that charge is over.
    anew = [each for each in kept(client)[1] if "start" in each]
    assert {each["start"]["busy"] for each in anew} == {uuid}
    assert all(each["uuid"] == "" and not each["settled"] for each in anew)


def test_a_list_that_is_not_begun_knows_for_how_long_what_was_read_holds(
    client: PageClient, db: sqlite3.Connection, car: int, clock: Clock
) -> None:
    meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC")
    starts = RACE_MORNING + timedelta(minutes=40)
    meetings.save_meeting(db, meeting, RACE_MORNING, [Entry("heat", starts)])
    added, _ = controllers.add(db, Controller(name="Own"), STARTING_LIST, car, clock())
    own = lists.settings_list(db, added)
    step = lists.steps(db, own.id)[0]
    client.post_form(f"/checks/walks/{uuid.uuid4()}/steps/{step.id}?steps=legal", {"shown": "1000"})
    client.post_form("/runs/new", {"car_id": str(car), "can_c": "60", "read_after_s": "20"})
    clock.tick(60)
    client.post_form(f"/checks/walks/{uuid.uuid4()}/steps/{step.id}?steps=legal", {"shown": "1000"})
    (after,) = [each for each in lists.checklists(db) if each.occasion == "after"]
    by_begin = {run["begin"]: run for run in kept(client)[1]}
    settings_run = by_begin[f"/checks/lists/{own.id}/run"]
    assert settings_run["settled"] == [str(step.id)]
    assert settings_run["since"] == clock().timestamp() * 1000
    # A heat is next until 15 minutes after its time.
    assert settings_run["known_for"] == (39 + 15) * 60_000
    # What the log of the run before says is no answer for the next.
    assert by_begin[f"/checks/lists/{after.id}/run"]["settled"] == []


def test_what_is_kept_outside_the_class_is_kept_with_its_reason(
    client: PageClient, db: sqlite3.Connection, car: int, clock: Clock
) -> None:
    limited, _ = meetings.save_class(db, RaceClass(name="Own", rev_limit_rpm=14_600), clock())
    meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=limited)
    meetings.save_meeting(db, meeting, RACE_MORNING)
    added, _ = controllers.add(db, Controller(name="Own"), STARTING_LIST, car, clock())
    step = lists.steps(db, lists.settings_list(db, added).id)[0]
    walk_uuid = str(uuid.uuid4())
    address = f"/checks/walks/{walk_uuid}/steps/{step.id}"
    client.post_form(address, {"shown": "15000"})
    client.post_form(address, {"stand": "1", "reason": "No cable here"})
    run = next(each for each in kept(client)[1] if each["uuid"] == walk_uuid)
    assert run["given"] == {
        str(step.id): {"shown": "15000", "stand": "", "reason": "No cable here"}
    }


def test_keeping_pages_leaves_the_racers_notice_alone(client: PageClient, car: int) -> None:
    client.post_form("/gearing/fit", FIT)
    assert "undo-bar" not in kept(client)[0]["/gearing"]
    assert "undo-bar" in client.get("/gearing").text


def test_a_late_write_is_dated_when_it_was_made(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: int
) -> None:
    headers = {"X-Waited-Seconds": "5400", "Idempotency-Key": str(uuid.uuid4())}
    assert client.post_form("/gearing/fit", FIT, headers=headers).status_code == 303
    fitted = gearing.fitted(db, car)
    assert fitted is not None
    assert (clock() - fitted.fitted_at).total_seconds() == 5400
    assert "undo-bar" not in client.get("/gearing").text


@pytest.mark.parametrize("waited", ["-5", "1e9", "99999999", "²", "soon", ""])
def test_a_senseless_wait_is_no_wait(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: int, waited: str
) -> None:
    headers = {"X-Waited-Seconds": waited.encode().decode("latin-1")}
    client.post_form("/gearing/fit", FIT, headers=headers)
    fitted = gearing.fitted(db, car)
    assert fitted is not None
    assert fitted.fitted_at == clock()


@pytest.mark.parametrize("by", ["header", "field"])
def test_a_write_sent_twice_is_done_once(
    client: PageClient, db: sqlite3.Connection, car: int, by: str
) -> None:
    key = str(uuid.uuid4())
    for _ in range(2):
        headers = {"Idempotency-Key": key} if by == "header" else {}
        field = {"idempotency_key": key} if by == "field" else {}
        assert client.post_form("/gearing/fit", FIT | field, headers=headers).status_code == 303
    assert len(gearing.log(db, car, 10, None)) == 1


def test_a_key_that_is_no_uuid_is_refused(client: PageClient, car: int) -> None:
    wrong = FIT | {"idempotency_key": "1 or 1"}
    assert client.post_form("/gearing/fit", wrong).status_code == 400


def test_the_manifest_can_be_installed(client: PageClient) -> None:
    page = client.get("/").text
    found = re.search(r'<link rel="manifest" href="([^"]+)"', page)
    assert found is not None
    answer = client.get(found[1])
    assert answer.mimetype == "application/manifest+json"
    manifest = json.loads(answer.text)
    assert manifest["start_url"] == "/"
    assert manifest["display"] == "standalone"
    assert {each["url"] for each in manifest["shortcuts"]} == {"/gearing", "/runs/new", "/checks"}
    for each in manifest["shortcuts"]:
        assert client.get(each["url"]).status_code == 200
    sizes = {(icon["sizes"], icon["purpose"]) for icon in manifest["icons"]}
    assert {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")} <= sizes
    for icon in manifest["icons"]:
        if icon["type"] == "image/png":
            width, height = struct.unpack(">II", png(icon["src"])[16:24])
            assert f"{width}x{height}" == icon["sizes"]


def test_a_phone_that_reads_no_manifest_has_a_touch_icon(client: PageClient) -> None:
    found = re.search(r'<link rel="apple-touch-icon" href="([^"]+)"', client.get("/").text)
    assert found is not None
    header = png(found[1].split("?")[0])[16:26]
    # 180 × 180, eight bits, true colour without alpha (PNG specification, 11.2.2).
    assert struct.unpack(">IIBB", header) == (180, 180, 8, 2)


def png(address: str) -> bytes:
    read = (ROOT / address.removeprefix("/")).read_bytes()
    assert read.startswith(b"\x89PNG\r\n")
    return read


def test_pages_name_the_version_that_made_them(app: Flask, client: PageClient) -> None:
    assert client.get("/").headers["Pitapp-Version"] == told(client)["version"]


def test_the_outbox_has_a_screen(client: PageClient) -> None:
    assert 'id="outbox-list"' in client.get("/outbox").text
    assert "/outbox" in client.get("/more").text

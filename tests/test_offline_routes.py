"""What the server gives the worker: every file of this version, the late writes, the pages to keep."""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
import struct
import uuid
from typing import Any

import pytest
from flask import Flask

from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.house import ROOT
from tests.support import RACE_MORNING, Clock, PageClient

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
    files = {each["url"].split("?")[0]: each["hash"] for each in told(client)["files"]}
    for path in STATIC.rglob("*"):
        name = path.relative_to(STATIC).as_posix()
        if path.is_dir() or path.suffix in ("", ".png") or name.startswith("js/sw/"):
            continue  # folders, licences, the install icons, and the worker's own parts
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        assert files.pop(f"/static/{name}") == digest[:12]
    assert files == {}


def test_every_strategy_is_in_the_worker(client: PageClient) -> None:
    script = client.get("/sw.js").text
    strategies = list((STATIC / "js" / "sw").glob("*.js"))
    assert strategies
    for path in strategies:
        code = [line for line in path.read_text().splitlines() if not line.strip().startswith("//")]
        assert "\n".join(code) in script


def test_files_that_are_missing_come_in_one_answer(client: PageClient) -> None:
    names = "css/base.css,js/gearing.js,../pyproject.toml,vendor/nothing.js"
    found = client.get("/offline/files", query_string={"names": names}).json
    assert found == {
        name: (STATIC / name).read_text(encoding="utf-8")
        for name in ("css/base.css", "js/gearing.js")
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


def test_what_must_open_with_no_server_is_kept(client: PageClient, car: int) -> None:
    answer = client.get("/offline/pages")
    pages, runs = answer.json["pages"], answer.json["runs"]  # type: ignore[index]
    named = {"/", "/gearing", "/checks", "/checks/card", "/runs", "/runs/new", "/packs/emergency"}
    assert named <= set(pages)
    for path, html in pages.items():
        assert re.findall(r'name="csrf_token" value="([^"]+)"', html) == [], path
        assert '<div id="offline-part"></div>' in html, path
    assert len(runs) >= 5
    for run in runs:
        assert run["first"] == run["steps"][0][0]
        for step_id, html in run["steps"]:
            assert f"/checks/walks/{run['uuid']}/steps/{step_id}" in html
            assert re.findall(r'name="csrf_token" value="([^"]+)"', html) == []


def test_keeping_pages_leaves_the_racers_notice_alone(client: PageClient, car: int) -> None:
    client.post_form("/gearing/fit", FIT)
    kept = client.get("/offline/pages").json["pages"]  # type: ignore[index]
    assert "undo-bar" not in kept["/gearing"]
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


def png(address: str) -> bytes:
    read = (ROOT / address.removeprefix("/")).read_bytes()
    assert read.startswith(b"\x89PNG\r\n")
    return read


def test_pages_name_the_version_that_made_them(app: Flask, client: PageClient) -> None:
    assert client.get("/").headers["Pitapp-Version"] == told(client)["version"]


def test_the_outbox_has_a_screen(client: PageClient) -> None:
    assert 'id="outbox-list"' in client.get("/outbox").text
    assert "/outbox" in client.get("/more").text

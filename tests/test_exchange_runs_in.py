"""Runs from a spreadsheet: each bad line named, none taken before the word, and all of it undone."""

from __future__ import annotations

import io
import json
import re
import sqlite3
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import cast
from zoneinfo import ZoneInfo

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from pitapp import create_app
from pitapp.db import undo
from pitapp.demo import fill
from pitapp.exchange import document, runs_in
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.runs import store as runs
from pitapp.tracks import store as tracks
from tests.support import RACE_MORNING, Clock, PageClient

HEAD = "started,car,track,pinion,spur,internal ratio,tyre mm,can °C,best lap s,remarks\n"
GOOD = "2026-05-03 10:32,Invented TC,Hollow,45,66,1.9,63,64,15.27,quick\n"


@pytest.fixture
def car_id(db: sqlite3.Connection) -> int:
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    return kit.save_car(db, car, RACE_MORNING)[0]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[sqlite3.Connection]:
    """A database with one car, for tests that take nothing."""
    app = create_app(tmp_path_factory.mktemp("desk"), clock=Clock())
    connection = app.extensions["pitapp.db"].connection()
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    kit.save_car(connection, car, RACE_MORNING)
    yield connection
    app.extensions["pitapp.db"].close()


def look(db: sqlite3.Connection, text: str) -> runs_in.Look:
    return runs_in.look(db, text.encode(), ZoneInfo("Europe/Lisbon"))


def post_file(client: PageClient, path: str, data: bytes, name: str = "a.csv") -> TestResponse:
    return client.post_form(
        path, {"file": (io.BytesIO(data), name)}, content_type="multipart/form-data"
    )


def digest_of(answer: TestResponse) -> str:
    found = re.search(r'name="digest" value="([0-9a-f]{64})"', answer.text)
    assert found, answer.text
    return found[1]


@pytest.mark.usefixtures("car_id")
def test_a_good_line_becomes_a_run(app: Flask, db: sqlite3.Connection) -> None:
    found = look(db, HEAD + GOOD)
    assert (len(found.good), found.bad, found.new_tracks) == (1, [], ["Hollow"])
    assert runs.runs(db) == []
    with app.app_context():
        many, token = runs_in.take(db, found, RACE_MORNING)
    assert many == 1
    (run,) = runs.runs(db)
    assert run.started_at == datetime(2026, 5, 3, 9, 32, tzinfo=UTC)
    assert (run.pinion_teeth, run.spur_teeth, run.can_c, run.best_lap_s) == (45, 66, 64, 15.27)
    assert (run.remarks, run.snapshot.car.name) == ("quick", "Invented TC")
    assert tracks.track(db, run.track_id or 0).name == "Hollow"
    undo.undo(db, token, RACE_MORNING)
    assert runs.runs(db) == []
    assert tracks.tracks(db) == []


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (("2026-05-03 10:32", ""), "started: When was it?"),
        (("2026-05-03 10:32", "soon"), "started: Write the day and the time like"),
        (("2026-05-03 10:32", "2026-02-30 10:32"), "started: There is no such day"),
        (("2026-05-03 10:32", "1026-05-03 10:32"), "between 2000 and 2200"),
        (("2026-05-03 10:32", "2026-03-29 01:30"), "summer time begins"),
        (("Invented TC", "Invented Compact"), "car: There is no car called Invented Compact."),
        (("45", "0"), "pinion: This must be at least 6."),
        (("45", "forty"), "pinion: Write a number here"),
        (("45", "45.5"), "pinion: Write a whole number here."),
        (("64", "640"), "can °C: This must be at most 250."),
        (("15.27", "-15"), "best lap s: Write a time like 14.87"),
        (("Hollow", "H" * 61), "track: Keep this under 60 characters."),
        (("quick", "q" * 2001), "remarks: Keep this under 2000 characters."),
    ],
)
def test_each_fault_is_named_with_its_line(
    desk: sqlite3.Connection, change: tuple[str, str], fault: str
) -> None:
    found = look(desk, HEAD + GOOD + GOOD.replace(*change).replace("quick", "other"))
    (bad,) = found.bad
    assert bad.number == 3
    assert fault in " ".join(bad.faults)
    assert len(found.good) == 1


def test_names_that_are_not_on_record_are_named(desk: sqlite3.Connection) -> None:
    found = look(
        desk,
        "started,class,motor,pack,tyres,key\n2026-05-03 10:32,Sedan,Fast,A1,Set 1,\n"
        "2026-05-03 11:32,,,,,not-a-key\n",
    )
    assert [line.number for line in found.bad] == [2, 3]
    assert [fault.split(":")[0] for fault in found.bad[0].faults] == [
        "class",
        "motor",
        "pack",
        "tyres",
    ]
    assert found.bad[1].faults == ["key: This is no key that pitapp made. Leave it empty."]


@pytest.mark.usefixtures("car_id")
def test_the_same_line_is_one_run_however_often_it_is_read(
    app: Flask, db: sqlite3.Connection
) -> None:
    assert len(look(db, HEAD + GOOD + GOOD).bad) == 1
    with app.app_context():
        runs_in.take(db, look(db, HEAD + GOOD), RACE_MORNING)
    again = look(db, HEAD + GOOD)
    assert (again.on_record, again.good, again.bad) == (1, [], [])


def test_commas_dots_and_unknown_headings(desk: sqlite3.Connection) -> None:
    text = 'Started;Best lap s;Air C;mood\n"3.5.2026 10:32";1:02,5;18,5;fine\n'
    found = look(desk, text)
    (line,) = found.good
    assert line.run
    assert (line.run.best_lap_s, line.run.air_c) == (62.5, 18.5)
    assert found.ignored == ["mood"]


@pytest.mark.parametrize(
    ("local", "zone", "utc", "moment"),
    [
        ("2026-05-03 10:32", "Asia/Tokyo", "", "2026-05-03T01:32:00+00:00"),
        ("2026-10-25 01:30", "", "2026-10-25T01:30:00Z", "2026-10-25T01:30:00+00:00"),
        ("2026-10-25 01:30", "", "2026-10-25T00:30:00Z", "2026-10-25T00:30:00+00:00"),
        ("", "", "2026-05-03T09:32:00Z", "2026-05-03T09:32:00+00:00"),
        ("2026-05-03 00:30", "Pacific/Auckland", "", "2026-05-02T12:30:00+00:00"),
    ],
)
def test_moments_keep_their_zone(
    desk: sqlite3.Connection, local: str, zone: str, utc: str, moment: str
) -> None:
    """Lisbon's clocks go back at 02:00 on 25 October 2026, so that 01:30 comes twice."""
    found = look(desk, f"started,time zone,started UTC\n{local},{zone},{utc}\n")
    (line,) = found.good
    assert line.run
    assert line.run.started_at.isoformat() == moment
    assert line.run.time_zone == zone


def test_two_moments_that_disagree_are_a_fault(desk: sqlite3.Connection) -> None:
    found = look(desk, "started,started UTC\n2026-05-03 10:32,2026-05-03T10:32:00Z\n")
    assert "not the same moment" in found.bad[0].faults[0]


@pytest.mark.usefixtures("car_id")
def test_nothing_is_taken_before_the_word(client: PageClient, db: sqlite3.Connection) -> None:
    bad = GOOD.replace("Invented TC", "Nobody")
    answer = post_file(client, "/exchange/runs", (HEAD + GOOD + bad).encode())
    assert answer.status_code == 200
    assert "Line 3" in answer.text
    assert "There is no car called Nobody." in answer.text
    assert "New track: Hollow." in answer.text
    assert runs.runs(db) == []
    taken = client.post_form("/exchange/runs/take", {"digest": digest_of(answer)})
    assert taken.status_code == 303
    assert len(runs.runs(db)) == 1
    page = client.get("/exchange").text
    assert "Added 1 run" in page
    assert "Undo" in page


@pytest.mark.parametrize("digest", ["", "../secret.key", "0" * 64, "x" * 64, "\x00"])
def test_the_word_for_a_file_that_is_not_here(client: PageClient, digest: str) -> None:
    answer = client.post_form("/exchange/runs/take", {"digest": digest})
    assert answer.status_code == 404
    assert "Choose it again." in answer.text


@pytest.mark.parametrize("path", ["/exchange/runs", "/exchange/everything"])
@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"\x00\xff", "\U0001f40c".encode()])
def test_what_cannot_be_read_is_answered_at_the_field(
    client: PageClient, path: str, data: bytes
) -> None:
    answer = post_file(client, path, data)
    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.text
    assert client.post_form(path, {"file": "no file"}).status_code == 422


def test_a_huge_upload_is_refused(client: PageClient) -> None:
    answer = post_file(client, "/exchange/runs", b"a" * (6 * 1024 * 1024))
    assert answer.status_code == 413
    assert "traceback" not in answer.text.lower()


@pytest.fixture
def demo(tmp_path: Path) -> PageClient:
    app = create_app(tmp_path / "demo", clock=Clock(), invented=True)
    app.test_client_class = PageClient
    fill(app)
    return cast(PageClient, app.test_client())


def connection_of(client: PageClient) -> sqlite3.Connection:
    found: sqlite3.Connection = client.application.extensions["pitapp.db"].connection()
    return found


@pytest.mark.parametrize("query", ["", "?comma=1"])
def test_the_sheet_of_runs_read_into_an_emptied_log_gives_the_same_runs(
    demo: PageClient, query: str
) -> None:
    connection = connection_of(demo)
    before = {run.uuid: run for run in runs.runs(connection, limit=1000)}
    sheet = demo.get(f"/exchange/sheets/runs.csv{query}").data
    assert "lines are on record already" in post_file(demo, "/exchange/runs", sheet).text
    connection.execute("DELETE FROM photographs")
    connection.execute("DELETE FROM runs")
    looked = post_file(demo, "/exchange/runs", sheet)
    assert f'<data id="lines-good" value="{len(before)}">' in looked.text
    demo.post_form("/exchange/runs/take", {"digest": digest_of(looked)})
    after = {run.uuid: run for run in runs.runs(connection, limit=1000)}
    assert after.keys() == before.keys()
    other = {"id", "version", "snapshot", "meeting_id", "heat_id"}
    for key, run in before.items():
        assert after[key].model_dump(exclude=other) == run.model_dump(exclude=other)


def test_every_sheet_can_be_saved_and_none_starts_a_formula(demo: PageClient) -> None:
    connection = connection_of(demo)
    connection.execute("UPDATE runs SET remarks = '=1+1' WHERE id = 1")
    page = demo.get("/exchange").text
    links = re.findall(r'href="(/exchange/sheets/[^"]+)"', page)
    assert len(links) == 9
    for link in links:
        answer = demo.get(link)
        assert answer.status_code == 200
        assert answer.headers["Content-Disposition"].startswith("attachment")
        assert answer.text.count("\r\n") > 2, link
        assert not re.search(r'(^|,|\n)"?[=+@]', answer.text), link
    assert "'=1+1" in demo.get("/exchange/sheets/runs.csv").text
    assert ",-1.5," in demo.get("/exchange/sheets/set-ups.csv").text
    assert demo.get("/exchange/sheets/none.csv").status_code == 404
    with zipfile.ZipFile(io.BytesIO(demo.get("/exchange/sheets.zip").data)) as packed:
        names = packed.namelist()
    assert {"runs.csv", "tables/heats.csv"} <= set(names)
    assert not any("undo_steps" in name for name in names)


def rows_in(file: bytes) -> object:
    """The rows of a file of everything; which database wrote it is another matter."""
    return json.loads(file)["tables"]


def test_everything_is_looked_at_taken_and_put_back(demo: PageClient, client: PageClient) -> None:
    saved = demo.get("/exchange/everything.json").data
    own = client.get("/exchange/everything.json").data
    looked = post_file(client, "/exchange/everything", saved, "all.json")
    assert "Bringing it back replaces everything here." in looked.text
    assert json.loads(client.get("/exchange/everything.json").data)["tables"]["runs"] == []
    taken = client.post_form("/exchange/everything/take", {"digest": digest_of(looked)})
    assert taken.status_code == 303
    assert rows_in(client.get("/exchange/everything.json").data) == rows_in(saved)
    assert client.get("/runs").status_code == 200
    assert "Put back what was here before" in client.get("/exchange").text
    assert client.post_form("/exchange/everything/put-back").status_code == 303
    assert rows_in(client.get("/exchange/everything.json").data) == rows_in(own)


def test_nothing_to_put_back(client: PageClient) -> None:
    assert client.post_form("/exchange/everything/put-back").status_code == 404


def test_the_schema_is_published_and_the_file_keeps_to_it(demo: PageClient) -> None:
    schema = demo.get("/exchange/everything.schema.json").json
    assert schema
    saved = json.loads(demo.get("/exchange/everything.json").data)
    assert set(saved) == set(schema["properties"]) >= set(schema["required"])
    tables = schema["$defs"]["Tables"]["properties"]
    assert set(tables) == set(saved["tables"])
    for table, rows in saved["tables"].items():
        row = schema["$defs"][f"row_of_{table}"]
        for each in rows:
            assert set(each) == set(row["properties"]), table


def test_the_word_twice_is_one_taking(demo: PageClient, client: PageClient) -> None:
    """A file of everything that is taken twice leaves what it held, and nothing twice."""
    saved = demo.get("/exchange/everything.json").data
    digest = digest_of(post_file(client, "/exchange/everything", saved))
    for _ in range(2):
        assert client.post_form("/exchange/everything/take", {"digest": digest}).status_code == 303
    assert rows_in(client.get("/exchange/everything.json").data) == rows_in(saved)
    assert document.read(saved).tables["runs"]

"""The Copies screen and its commands."""

from __future__ import annotations

import io
import re
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner
from flask import Flask

from pitapp.cli import cli
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import Clock, PageClient

CAR = Car(name="First", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)


def test_make_take_away_upload_look_and_bring_back(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    kit.save_car(db, CAR, clock())
    client.post_form("/copies")
    found = re.search(r'href="(/copies/[^"/]+\.sqlite3)"', client.get("/copies").text)
    assert found is not None
    taken = client.get(found[1])
    assert "attachment" in taken.headers["Content-Disposition"]
    content = taken.data
    kit.save_car(db, CAR.model_copy(update={"name": "Second"}), clock())
    looked = client.post_form(
        "/copies/uploaded",
        {"file": (io.BytesIO(content), "copy.sqlite3")},
        content_type="multipart/form-data",
    )
    assert looked.status_code == 200
    assert "Bringing it back replaces everything here" in looked.text
    assert len(kit.cars(db)) == 2
    action = re.search(r'action="(/copies/uploaded/[0-9a-f]+/restore)"', looked.text)
    assert action is not None
    assert client.post_form(action[1]).status_code == 303
    assert [car.name for car in kit.cars(db)] == ["First"]
    page = client.get("/copies").text
    way_back = re.search(r'href="(/copies/[^"]+-before-restore\.sqlite3)/look"', page)
    assert way_back is not None
    client.post_form(f"{way_back[1]}/restore")
    assert len(kit.cars(db)) == 2
    assert client.post_form(action[1]).status_code == 404


@pytest.mark.parametrize("content", [b"", b"no database", b"SQLite format 3\x00" + b"\xff" * 9000])
def test_a_bad_upload_is_refused_at_its_field(
    client: PageClient, db: sqlite3.Connection, clock: Clock, content: bytes
) -> None:
    kit.save_car(db, CAR, clock())
    answer = client.post_form(
        "/copies/uploaded",
        {"file": (io.BytesIO(content), "x.sqlite3")},
        content_type="multipart/form-data",
    )
    assert answer.status_code == 422
    assert 'id="file-error"' in answer.text
    assert [car.name for car in kit.cars(db)] == ["First"]


@pytest.mark.parametrize(
    "name", ["../secret.key", "secret.key", "..%2fsecret.key", "x.sqlite3", "pitapp.sqlite3"]
)
def test_nothing_but_copies_can_be_taken(client: PageClient, name: str) -> None:
    assert client.get(f"/copies/{name}").status_code == 404
    assert client.get(f"/copies/{name}/look").status_code == 404
    assert client.post_form(f"/copies/uploaded/{name}/restore").status_code == 404


def test_the_commands(app: Flask, db: sqlite3.Connection, clock: Clock, tmp_path: Path) -> None:
    data = ["--data", str(app.config["PITAPP_DATA_DIR"])]
    kit.save_car(db, CAR, clock())
    copy = tmp_path / "copy.sqlite3"
    runner = CliRunner()
    done = runner.invoke(cli, ["backup", str(copy), *data])
    assert (done.exit_code, "1 cars" in done.output) == (0, True)
    kit.save_car(db, CAR.model_copy(update={"name": "Second"}), clock())
    refused = runner.invoke(cli, ["restore", str(copy), *data], input="n\n")
    assert refused.exit_code == 1
    assert len(kit.cars(db)) == 2
    assert runner.invoke(cli, ["restore", str(copy), "--yes", *data]).exit_code == 0
    assert [car.name for car in kit.cars(db)] == ["First"]
    inspected = runner.invoke(cli, ["inspect", *data])
    assert inspected.exit_code == 0
    assert "sound" in inspected.output
    assert "before-restore" in inspected.output


def test_what_was_brought_back_is_said_though_no_file_can_be_cleared_away(
    client: PageClient, db: sqlite3.Connection, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unlink(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    kit.save_car(db, CAR, clock())
    client.post_form("/copies")
    page = client.get("/copies").text
    found = re.search(r'href="(/copies/[^"/]+\.sqlite3)"', page)
    assert found is not None
    looked = client.post_form(
        "/copies/uploaded",
        {"file": (io.BytesIO(client.get(found[1]).data), "copy.sqlite3")},
        content_type="multipart/form-data",
    )
    kit.save_car(db, CAR.model_copy(update={"name": "Second"}), clock())
    action = re.search(r'action="(/copies/uploaded/[0-9a-f]+/restore)"', looked.text)
    assert action is not None
    monkeypatch.setattr(Path, "unlink", unlink)
    assert client.post_form(action[1]).status_code == 303
    assert "Brought back" in client.get("/copies").text
    assert [car.name for car in kit.cars(db)] == ["First"]


def test_an_upload_brought_back_by_two_taps_is_so_once(
    app: Flask, client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    kit.save_car(db, CAR, clock())
    client.post_form("/copies")
    (kept,) = Path(app.config["PITAPP_DATA_DIR"]).glob("copies/*.sqlite3")
    looked = client.post_form(
        "/copies/uploaded",
        {"file": (io.BytesIO(kept.read_bytes()), "copy.sqlite3")},
        content_type="multipart/form-data",
    )
    action = re.search(r'action="(/copies/uploaded/[0-9a-f]+/restore)"', looked.text)
    assert action is not None
    key = {"idempotency_key": "6f0e0f52-7c1c-4b3a-8a53-0d7a8c1f9b21"}
    assert [client.post_form(action[1], key).status_code for _ in range(2)] == [303, 303]
    page = client.get("/copies").text
    assert page.count("Brought back. What was here before is kept as") == 1
    assert len(re.findall(r'href="/copies/[^"]+-before-restore[^"]*/look"', page)) == 1

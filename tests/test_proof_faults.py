"""A folder or a database that cannot be used: each is told, keeps what was typed, and loses nothing."""

from __future__ import annotations

import errno
import io
import re
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from html import unescape
from pathlib import Path
from typing import Any, cast

import pytest
from flask import Flask
from werkzeug.datastructures import FileStorage
from werkzeug.test import TestResponse

from pitapp import create_app
from pitapp.cli import main
from pitapp.copies import daily
from pitapp.copies import store as copies
from pitapp.db import connect as connecting
from pitapp.db.connect import connect
from pitapp.errors import DatabaseBusy, DataError
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.permissions import open_again, permissions_bind, shut
from tests.support import Clock, PageClient

CAR = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
PAIR = {"pinion": "45", "spur": "66"}
HIDDEN = re.compile(r'<input type="hidden" name="([^"]+)" value="([^"]*)">')
KEY = {"Idempotency-Key": "3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70"}
HOLD = "import sqlite3,sys; c = sqlite3.connect(sys.argv[1]); c.execute('BEGIN IMMEDIATE'); print(flush=True); input()"


def furnished(folder: Path, clock: Clock) -> Flask:
    app = create_app(folder, clock=clock)
    app.test_client_class = PageClient
    kit.save_car(app.extensions["pitapp.db"].connection(), CAR, clock())
    client = cast(PageClient, app.test_client())
    assert client.post_form("/gearing/fit", PAIR).status_code == 303
    return app


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "data"


def fitted(folder: Path) -> int:
    with closing(sqlite3.connect(folder / "pitapp.sqlite3")) as database:
        assert database.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        return int(database.execute("SELECT count(*) FROM gear_fits").fetchone()[0])


def sent_again(client: PageClient, answer: TestResponse) -> TestResponse:
    """Press the button on the page that said that nothing was saved."""
    form = re.search(r'<form method="post" action="([^"]+)".*?</form>', answer.text, re.DOTALL)
    assert form is not None
    fields = {name: unescape(value) for name, value in HIDDEN.findall(form[0])}
    return client.post(unescape(form[1]), data=fields)


def test_a_folder_that_cannot_be_written_is_told_at_start(folder: Path, clock: Clock) -> None:
    furnished(folder, clock).extensions["pitapp.db"].close()
    with permissions_bind():
        shut(folder)
        with pytest.raises(DataError, match=r"pitapp\.sqlite3 cannot be written.*--data"):
            create_app(folder)
        open_again(folder)
        create_app(folder).extensions["pitapp.db"].close()
    assert fitted(folder) == 1


def test_a_file_that_cannot_be_written_is_told_at_start(folder: Path, clock: Clock) -> None:
    furnished(folder, clock).extensions["pitapp.db"].close()
    with permissions_bind():
        (folder / "pitapp.sqlite3").chmod(0o444)
        with pytest.raises(DataError, match=r"pitapp\.sqlite3 cannot be written.*permissions"):
            create_app(folder)
    assert fitted(folder) == 1


def test_a_folder_that_is_shut_while_serving_keeps_what_was_typed(
    folder: Path, clock: Clock
) -> None:
    app = furnished(folder, clock)
    client = cast(PageClient, app.test_client())
    form = {"csrf_token": client.csrf_token()}
    with permissions_bind():
        app.extensions["pitapp.db"].close()
        shut(folder)
        answer = client.post("/gearing/fit", data=form | PAIR, headers=KEY)
        assert answer.status_code == 503
        assert "Mend the permissions" in answer.text
        copied = client.post("/copies", data=form)
        assert copied.status_code == 503
        assert "Traceback" not in copied.text
        open_again(folder)
        assert sent_again(client, answer).status_code == 303
        assert sent_again(client, answer).headers["Idempotent-Replayed"] == "true"
        app.extensions["pitapp.db"].close()
    assert fitted(folder) == 2


def test_a_database_that_another_program_holds_keeps_what_was_typed(
    folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connecting, "BUSY_TIMEOUT_MS", 50)
    app = furnished(folder, clock)
    client = cast(PageClient, app.test_client())
    command = [sys.executable, "-I", "-S", "-c", HOLD, str(folder / "pitapp.sqlite3")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        holder.stdout.readline()
        answer = client.post_form("/gearing/fit", PAIR, headers=KEY)
        part = client.post_form("/gearing/fit", PAIR, headers={**KEY, "HX-Request": "true"})
        with pytest.raises(DatabaseBusy, match="Another program holds"):
            create_app(folder)
        assert client.get("/gearing/log").status_code == 200
        holder.communicate(b"\n")
    assert (answer.status_code, part.status_code) == (503, 503)
    assert "try again" in answer.text
    assert "locked" not in answer.text + part.text
    assert part.text.startswith('<div id="errors-part"')
    assert sent_again(client, answer).status_code == 303
    assert sent_again(client, part).headers["Idempotent-Replayed"] == "true"
    app.extensions["pitapp.db"].close()
    assert fitted(folder) == 2


def test_what_was_typed_comes_back_escaped(
    folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connecting, "BUSY_TIMEOUT_MS", 1)
    app = furnished(folder, clock)
    with closing(connect(folder / "pitapp.sqlite3")) as other:
        other.execute("BEGIN IMMEDIATE")
        client = cast(PageClient, app.test_client())
        answer = client.post_form('/gearing/fit?x="><q>', {**PAIR, '"><q>': '"><q>\n'})
    assert answer.status_code == 503
    assert "&lt;q&gt;" in answer.text
    assert "<q>" not in answer.text
    app.extensions["pitapp.db"].close()


def test_a_folder_that_is_taken_away_and_put_back(folder: Path, clock: Clock) -> None:
    app = furnished(folder, clock)
    client = cast(PageClient, app.test_client())
    token = client.csrf_token()
    away = folder.with_name("away")
    folder.rename(away)
    answer = client.post("/gearing/fit", data={"csrf_token": token, **PAIR})
    assert answer.status_code == 503
    assert "The data folder is gone" in answer.text
    shutil.copytree(away, folder)
    other = client.get("/gearing")
    assert other.status_code == 503
    assert "another one" in other.text
    shutil.rmtree(folder)
    away.rename(folder)
    assert sent_again(client, answer).status_code == 303
    app.extensions["pitapp.db"].close()
    assert fitted(folder) == 2


def test_a_folder_that_is_deleted_under_open_files_is_told(folder: Path, clock: Clock) -> None:
    app = furnished(folder, clock)
    client = cast(PageClient, app.test_client())
    token = client.csrf_token()
    shutil.rmtree(folder)
    answer = client.post("/gearing/fit", data={"csrf_token": token, **PAIR})
    assert answer.status_code == 503, "what is written to deleted files is lost"


def test_a_database_that_is_gone_at_start_is_not_begun_anew(
    folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    app = furnished(folder, clock)
    cast(PageClient, app.test_client()).post_form("/copies")
    app.extensions["pitapp.db"].close()
    (folder / "pitapp.sqlite3").unlink()
    monkeypatch.setattr(sys, "argv", ["pitapp", "serve", "--port", "0", "--data", str(folder)])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 3
    assert f"pitapp restore {folder / 'copies'}" in capsys.readouterr().err
    assert not (folder / "pitapp.sqlite3").exists()


def test_a_daily_copy_makes_no_database_where_one_is_gone(folder: Path, clock: Clock) -> None:
    app = furnished(folder, clock)
    database = app.extensions["pitapp.db"]
    (folder / "pitapp.sqlite3").rename(folder / "away.sqlite3")
    daily._copy(database, folder, clock())
    assert not (folder / "pitapp.sqlite3").exists()
    (folder / "away.sqlite3").rename(folder / "pitapp.sqlite3")
    daily._copy(database, folder, clock())
    assert [copy.why for copy in copies.list_copies(folder)] == ["daily"]
    database.close()


def test_a_database_that_is_damaged_while_serving_is_told(folder: Path, clock: Clock) -> None:
    app = furnished(folder, clock)
    client = cast(PageClient, app.test_client())
    client.post_form("/copies")
    token = client.csrf_token()
    app.extensions["pitapp.db"].close()
    damage(folder / "pitapp.sqlite3")
    answer = client.post("/gearing/fit", data={"csrf_token": token, **PAIR})
    assert answer.status_code == 503
    assert "The database is damaged" in answer.text
    assert "pitapp inspect" in answer.text
    app.extensions["pitapp.db"].close()


def damage(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[100:] = b"\xa5" * (len(content) - 100)
    with path.open("rb+") as file:
        file.write(content)


def test_a_full_disk_leaves_no_half_upload(
    folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def save(self: FileStorage, path: Path, *_: Any) -> None:
        path.write_bytes(b"half")
        raise OSError(errno.ENOSPC, "No space left on device")

    app = furnished(folder, clock)
    client = cast(PageClient, app.test_client())
    monkeypatch.setattr(FileStorage, "save", save)
    answer = client.post_form(
        "/copies/uploaded",
        {"file": (io.BytesIO(b"x"), "x.sqlite3")},
        content_type="multipart/form-data",
    )
    assert answer.status_code == 507
    assert "There is no room left" in answer.text
    assert list(folder.glob(".uploaded-*")) == []
    app.extensions["pitapp.db"].close()


def test_a_database_of_a_newer_pitapp_is_a_sentence(
    folder: Path,
    clock: Clock,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    furnished(folder, clock).extensions["pitapp.db"].close()
    with closing(connect(folder / "pitapp.sqlite3")) as database:
        database.execute("PRAGMA user_version = 9999")
    for command in (["serve", "--port", "0"], ["inspect"]):
        monkeypatch.setattr(sys, "argv", ["pitapp", *command, "--data", str(folder)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        assert ended.value.code == 3
        assert "newer pitapp (schema 9999" in said.err + said.out
    with closing(connect(folder / "pitapp.sqlite3")) as database:
        assert database.execute("PRAGMA user_version").fetchone()[0] == 9999

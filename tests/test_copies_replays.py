"""A write whose answer was lost, and that comes again after a copy or a file was brought back, is there once."""

from __future__ import annotations

import io
import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, Protocol, cast

import pytest
from click.testing import CliRunner
from flask import Flask
from werkzeug.test import TestResponse

from pitapp.cli import cli
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.runs_support import form_values
from tests.support import Clock, PageClient

KEY = "0b2b5d0e-3c60-4f0c-9a2e-6c1f2f6f1a11"
OTHER = "6f0e0f52-7c1c-4b3a-8a53-0d7a8c1f9b21"
CAR = Car(name="Heron", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)


class Way(Protocol):
    """Takes what is here away, and brings it back."""

    def save(self) -> bytes: ...

    def bring_back(self, saved: bytes) -> None: ...


class Base:
    def __init__(self, client: PageClient, folder: Path) -> None:
        self.client, self.folder = client, folder


class OnTheScreen(Base):
    """More → Copies: taken away, sent in again, looked at, brought back."""

    def save(self) -> bytes:
        before = self._names()
        self.client.post_form("/copies")
        (name,) = self._names() - before
        return self.client.get(name).data

    def _names(self) -> set[str]:
        page = self.client.get("/copies").text
        return set(re.findall(r'href="(/copies/[^"/]+-by-hand[^"/]*)"', page))

    def bring_back(self, saved: bytes) -> None:
        looked = self.client.post_form(
            "/copies/uploaded",
            {"file": (io.BytesIO(saved), "copy.sqlite3")},
            content_type="multipart/form-data",
        )
        action = re.search(r'action="(/copies/uploaded/[0-9a-f]+/restore)"', looked.text)
        assert action is not None, looked.text
        assert self.client.post_form(action[1]).status_code == 303


class OnTheCommandLine(Base):
    """`pitapp backup` and `pitapp restore`."""

    def save(self) -> bytes:
        path = self.folder.parent / "copy.sqlite3"
        self._run("backup", str(path))
        return path.read_bytes()

    def bring_back(self, saved: bytes) -> None:
        path = self.folder.parent / "copy.sqlite3"
        path.write_bytes(saved)
        self._run("restore", str(path), "--yes")

    def _run(self, *command: str) -> None:
        done = CliRunner().invoke(cli, [*command, "--data", str(self.folder)])
        assert done.exit_code == 0, done.output


class AFileOfEverything(Base):
    """More → the file of everything, read back."""

    def save(self) -> bytes:
        return self.client.get("/exchange/everything.json").data

    def bring_back(self, saved: bytes) -> None:
        looked = self.client.post_form(
            "/exchange/everything",
            {"file": (io.BytesIO(saved), "all.json")},
            content_type="multipart/form-data",
        )
        digest = re.search(r'name="digest"[^>]*value="([0-9a-f]+)"', looked.text)
        assert digest is not None, looked.text
        taken = self.client.post_form("/exchange/everything/take", {"digest": digest[1]})
        assert taken.status_code == 303


class WhatWasHereBefore(AFileOfEverything):
    """A file of everything was read back, and what was here before it is put back."""

    def bring_back(self, saved: bytes) -> None:
        super().bring_back(saved)
        super().bring_back(self.client.get("/exchange/everything.json").data)
        assert self.client.post_form("/exchange/everything/put-back").status_code == 303


WAYS = [OnTheScreen, OnTheCommandLine, AFileOfEverything, WhatWasHereBefore]


@pytest.fixture
def folder(app: Flask) -> Path:
    return cast(Path, app.config["PITAPP_DATA_DIR"])


@pytest.fixture(autouse=True)
def car(db: sqlite3.Connection, clock: Clock) -> None:
    kit.save_car(db, CAR, clock())


def runs(db: sqlite3.Connection) -> int:
    return int(db.execute("SELECT count(*) FROM runs").fetchone()[0])


def confirmed(answer: TestResponse) -> bool:
    """Whether a phone takes this answer for "it is saved"."""
    return answer.status_code < 400


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("hx", [{}, {"HX-Request": "true"}])
def test_a_replay_finds_its_row_or_makes_it(
    client: PageClient, db: sqlite3.Connection, folder: Path, way: type[Base], hx: dict[str, str]
) -> None:
    form = form_values(client.get("/runs/new").text)

    def send(key: str = KEY) -> TestResponse:
        return client.post_form("/runs/new", form, headers={"Idempotency-Key": key} | hx)

    by = cast(Way, way(client, folder))
    before = by.save()
    assert confirmed(send())
    after = by.save()

    by.bring_back(before)
    assert runs(db) == 0
    assert confirmed(send())
    assert runs(db) == 1, "the row is not in what was brought back, so it is written"
    assert confirmed(send())
    assert runs(db) == 1

    client.get("/runs")
    by.bring_back(after)
    assert runs(db) == 1
    again = send()
    assert confirmed(again)
    assert runs(db) == 1, "the row is in what was brought back, so it is not written twice"
    assert "Saved" in again.text
    assert "/undo/" not in again.text
    assert again.headers["Idempotent-Replayed"] == "true"
    assert confirmed(send(OTHER))
    assert runs(db) == 2, "a key that nobody sent before is a write of its own"


@pytest.mark.parametrize("way", WAYS)
def test_a_run_that_was_undone_since_comes_back_once(
    client: PageClient, db: sqlite3.Connection, folder: Path, way: type[Base]
) -> None:
    form = form_values(client.get("/runs/new").text)
    client.post_form("/runs/new", form, headers={"Idempotency-Key": KEY})
    by = cast(Way, way(client, folder))
    (undo,) = re.findall(r'action="(/undo/[^"]+)"', client.get("/runs").text)
    saved = by.save()
    client.post_form(undo)
    assert runs(db) == 0
    by.bring_back(saved)
    assert runs(db) == 1
    assert confirmed(client.post_form("/runs/new", form, headers={"Idempotency-Key": KEY}))
    assert runs(db) == 1
    assert client.post_form(undo).status_code == 404, "no step back comes along"


@pytest.mark.parametrize("way", WAYS)
def test_exactly_the_keys_that_were_taken_along_are_known(
    client: PageClient, db: sqlite3.Connection, folder: Path, way: type[Base]
) -> None:
    def keys() -> set[str]:
        return {row[0] for row in db.execute("SELECT key FROM answered_writes")}

    client.post_form("/tracks/new", {"name": "Beck Lane"}, headers={"Idempotency-Key": KEY})
    by = cast(Way, way(client, folder))
    saved = by.save()
    client.post_form("/tracks/new", {"name": "Mill Yard"}, headers={"Idempotency-Key": OTHER})
    assert keys() == {KEY, OTHER}
    by.bring_back(saved)
    assert keys() == {KEY}


@pytest.mark.parametrize("way", WAYS[:3])
def test_nothing_that_was_answered_is_taken_along(
    client: PageClient, folder: Path, way: type[Base]
) -> None:
    client.post_form("/tracks/new", {"name": "Beck Lane"}, headers={"Idempotency-Key": KEY})
    (undo,) = re.findall(r'action="/undo/([^"]+)"', client.get("/tracks").text)
    saved = cast(Way, way(client, folder)).save()
    assert KEY.encode() in saved
    assert undo.encode() not in saved
    assert b"Saved Beck Lane" not in saved


def spoilt(saved: bytes, path: Path, *statements: str) -> bytes:
    path.write_bytes(saved)
    with closing(sqlite3.connect(path)) as file:
        for statement in statements:
            file.execute(statement)
        file.commit()
    return path.read_bytes()


@pytest.mark.parametrize("way", WAYS[:2])
def test_no_answer_that_was_planted_in_a_copy_is_given(
    client: PageClient, folder: Path, tmp_path: Path, way: type[Base]
) -> None:
    by = cast(Way, way(client, folder))
    planted = (
        f"INSERT INTO answered_writes VALUES ('{KEY}', '2026-05-01T00:00:00Z', 303, "
        "'https://elsewhere.example/', 'application/json', CAST('[[\"undo:x\", \"Planted\"]]' AS BLOB))"
    )
    by.bring_back(spoilt(by.save(), tmp_path / "planted.sqlite3", planted))
    answer = client.post_form("/tracks/new", {"name": "x"}, headers={"Idempotency-Key": KEY})
    assert confirmed(answer)
    assert "elsewhere" not in f"{answer.headers}{answer.text}"
    assert "Planted" not in answer.text + client.get("/tracks").text


@pytest.mark.parametrize("way", WAYS[:2])
def test_no_step_that_was_planted_in_a_copy_can_be_undone(
    client: PageClient, db: sqlite3.Connection, folder: Path, tmp_path: Path, way: type[Base]
) -> None:
    by = cast(Way, way(client, folder))
    device = {
        "id": 1,
        "name": "Stranger",
        "token_hash": "00" * 32,
        "paired_at": "2026-05-01T00:00:00Z",
        "last_seen_at": "2026-05-01T00:00:00Z",
    }
    images = json.dumps([{"table": "devices", "id": 1, "before": device, "after": None}])
    planted = (
        "INSERT INTO undo_steps (token, label, made_at, images) "
        f"VALUES ('planted', 'x', '2026-05-01T00:00:00Z', '{images}')"
    )
    by.bring_back(spoilt(by.save(), tmp_path / "planted.sqlite3", planted))
    assert client.post_form("/undo/planted").status_code == 404
    assert db.execute("SELECT count(*) FROM devices").fetchone()[0] == 0


@pytest.mark.parametrize("key", ["no key", "", "0B2B5D0E-3C60-4F0C-9A2E-6C1F2F6F1A11", "x" * 5000])
def test_what_is_no_key_is_refused(client: PageClient, folder: Path, key: str) -> None:
    everything: dict[str, Any] = json.loads(AFileOfEverything(client, folder).save())
    everything["write_keys"] = [{"key": key, "made_at": "2026-05-01T00:00:00Z"}]
    refused = client.post_form(
        "/exchange/everything",
        {"file": (io.BytesIO(json.dumps(everything).encode()), "all.json")},
        content_type="multipart/form-data",
    )
    assert refused.status_code == 422
    assert "write_keys" in refused.text

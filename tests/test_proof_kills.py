"""Killed at random moments while it writes: nothing acknowledged is ever lost, nothing done twice."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import uuid
from contextlib import closing
from pathlib import Path

import pytest

from pitapp import create_app
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import RACE_MORNING, Clock, PageClient

KILLS = int(os.environ.get("PITAPP_KILLS", "100"))
LONGEST_LIFE_S = 0.06

pytestmark = pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")


def furnish(data_dir: Path) -> None:
    app = create_app(data_dir, clock=Clock())
    database = app.extensions["pitapp.db"]
    kit.save_car(
        database.connection(),
        Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63),
        RACE_MORNING,
    )
    database.close()


def write_for_ever(data_dir: Path, acknowledged: int, number: int) -> None:
    """In the child: fit one gear after the other, saying each key only after its answer."""
    app = create_app(data_dir, clock=Clock())
    app.test_client_class = PageClient
    client = app.test_client()
    token = client.get("/token").text
    for count in range(100_000):
        key = str(uuid.UUID(int=number * 1_000_000 + count))
        answer = client.post(
            "/gearing/fit",
            data={"csrf_token": token, "pinion": str(20 + count % 60), "spur": "66"},
            headers={"Idempotency-Key": key},
        )
        if answer.status_code == 303:
            os.write(acknowledged, key.encode() + b"\n")


def killed_while_writing(data_dir: Path, number: int, chance: random.Random) -> list[str]:
    """Let a child write until it is killed; return the keys that it had acknowledged."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            write_for_ever(data_dir, writing, number)
        finally:
            os._exit(1)
    os.close(writing)
    said = os.read(reading, 37)
    signal.sigtimedwait([], chance.uniform(0, LONGEST_LIFE_S))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := os.read(reading, 65536):
        said += more
    os.close(reading)
    return [line.decode() for line in said.split(b"\n") if len(line) == 36]


def test_every_acknowledged_write_outlives_the_kill(tmp_path: Path) -> None:
    data_dir, chance = tmp_path / "data", random.Random(8)
    furnish(data_dir)
    acknowledged: set[str] = set()
    for number in range(KILLS):
        acknowledged.update(killed_while_writing(data_dir, number, chance))
        with closing(sqlite3.connect(data_dir / "pitapp.sqlite3")) as database:
            assert database.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            present = {row[0] for row in database.execute("SELECT key FROM answered_writes")}
            fitted = database.execute("SELECT count(*) FROM gear_fits").fetchone()[0]
        assert acknowledged <= present
        assert fitted == len(present)
    assert len(acknowledged) >= KILLS

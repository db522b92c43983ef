"""Sixteen clients writing at once: every acknowledged write is there, once, and nobody is told off."""

from __future__ import annotations

import os
import re
import sqlite3
import threading
import time
import uuid
from collections import Counter
from contextlib import closing
from http.client import HTTPConnection
from urllib.parse import urlencode

from e2e.server import ServerProcess
from pitapp.db.connect import connect
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import RACE_MORNING

CLIENTS = 16
SECONDS = float(os.environ.get("PITAPP_CROWD_SECONDS", "60"))


def write(port: int, ends: float, acknowledged: list[str], answers: Counter[object]) -> None:
    connection = HTTPConnection("127.0.0.1", port, timeout=30)
    connection.request("GET", "/token")
    answer = connection.getresponse()
    token = answer.read().decode()
    cookie = (answer.getheader("Set-Cookie") or "").split(";")[0]
    while time.monotonic() < ends:
        key = str(uuid.uuid4())
        body = urlencode({"csrf_token": token, "pinion": "45", "spur": "66"})
        headers = {
            "Cookie": cookie,
            "Idempotency-Key": key,
            "Content-Type": "application/x-www-form-urlencoded",
        }
        for _ in range(2 if key.startswith("0") else 1):
            connection.request("POST", "/gearing/fit", body, headers)
            answer = connection.getresponse()
            text = answer.read().decode()
            answers[answer.status] += 1
            if re.search("locked|Traceback", text):
                answers["shown"] += 1
        if answer.status == 303:
            acknowledged.append(key)
    connection.close()


def test_sixteen_clients_for_a_minute(pitapp_process: ServerProcess) -> None:
    database = pitapp_process.data_dir / "pitapp.sqlite3"
    with closing(connect(database)) as connection:
        car = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
        kit.save_car(connection, car, RACE_MORNING)
    acknowledged: list[str] = []
    answers: Counter[object] = Counter()
    ends = time.monotonic() + SECONDS
    threads = [
        threading.Thread(target=write, args=(pitapp_process.port, ends, acknowledged, answers))
        for _ in range(CLIENTS)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with closing(sqlite3.connect(database)) as connection:
        present = {row[0] for row in connection.execute("SELECT key FROM answered_writes")}
        fitted = connection.execute("SELECT count(*) FROM gear_fits").fetchone()[0]
        assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert set(answers) == {303}, answers
    assert len(acknowledged) > CLIENTS
    assert set(acknowledged) == present
    assert fitted == len(present)

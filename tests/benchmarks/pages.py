"""What a racer waits for with a season of 2000 runs and 40 meetings: the start, and each page.

Pages are asked for in this process, without a network between: the time is the server's. An address
with a number in it is asked for with one that exists.
"""

from __future__ import annotations

import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import quantiles
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from pitapp import create_app
from pitapp.db import transaction
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting
from pitapp.runs import store
from pitapp.runs.formulas import SetupLine
from pitapp.runs.laps import store as laps
from pitapp.runs.models import FittedCar, Run, Snapshot, TyreSet
from pitapp.runs.setup import store as setup
from pitapp.runs.snapshot import snapshot
from pitapp.runs.tyres import store as tyres
from tests.benchmarks import Row
from tests.runs_support import furnish

RUNS, MANY, A_DAY = 2_000, 20_000, 50
TYPED, PERIOD_DAYS = 2_000, 730
"""So many runs are saved as a racer's are; beyond them come copies, each two years further back."""
END = datetime(2026, 5, 16, 9, 0, tzinfo=UTC)
ENTRIES = 20
LOOKS = 30
PAGE_MS, SLOW_PAGES_MS = 60.0, {"/forecast": 250.0}
START_S = 1.5
MOST_MB = 45.0
LAPS = 20
LEFT_OUT = ("/static/", "/undo/", "/token")
FIRST_PAGE = (
    "import sys; from pitapp import create_app; "
    "assert create_app(sys.argv[1]).test_client().get('/').status_code == 200"
)


def rows() -> list[Row]:
    """Return the start, the slowest pages and the file's size, each beside its limit."""
    with tempfile.TemporaryDirectory() as folder:
        app = season(Path(folder, "usual"), RUNS)
        client = app.test_client()
        times = {path: p95_ms(client, path) for path in pages(app)}
        app.extensions["pitapp.db"].close()
        first_page_s(Path(folder, "usual"))  # compiles what was changed, as an installer does
        start = [first_page_s(Path(folder, "usual")) for _ in range(LOOKS // 3)]
        season(Path(folder, "many"), MANY).extensions["pitapp.db"].close()
        size = sum(path.stat().st_size for path in Path(folder, "many").glob("pitapp.sqlite3*"))
    limits = {path: limit_ms(path) for path in times}
    slowest = sorted(times, key=lambda path: times[path] / limits[path], reverse=True)
    return [
        against("start to first page, 95th percentile", p95(start), START_S, "s"),
        against(f"file with {MANY} runs of {LAPS} laps", size / 1e6, MOST_MB, "MB"),
        *(against(f"{path}, 95th percentile", times[path], limits[path], "ms") for path in slowest),
    ]


def against(name: str, measured: float, limit: float, unit: str) -> Row:
    """Return a figure beside its limit."""
    return Row(name, measured, limit, measured / limit, unit, "at most 1")


def limit_ms(path: str) -> float:
    """Return how long a page may take."""
    return next((ms for slow, ms in SLOW_PAGES_MS.items() if path.startswith(slow)), PAGE_MS)


def p95(values: list[float]) -> float:
    """Return the 95th percentile.

    >>> p95([float(n) for n in range(101)])
    95.0
    """
    return quantiles(values, n=20, method="inclusive")[-1]


def p95_ms(client: FlaskClient, path: str) -> float:
    """Return the server time of one page in ms, the 95th percentile of some looks."""
    times = []
    for _ in range(LOOKS):
        begin = time.perf_counter()
        client.get(path)
        times.append((time.perf_counter() - begin) * 1000)
    return p95(times)


def first_page_s(folder: Path) -> float:
    """Return the seconds from starting Python to the Board, modules compiled before as an installer does."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment |= {"PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir(), "pitapp-pyc"))}
    begin = time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", FIRST_PAGE, str(folder)], check=True, timeout=60, env=environment
    )
    return time.perf_counter() - begin


def season(folder: Path, count: int) -> Flask:
    """Return an app over so many runs of one car, the last of them this morning."""
    app = create_app(folder, clock=lambda: END)
    connection: sqlite3.Connection = app.extensions["pitapp.db"].connection()
    rng = random.Random(count)
    pit = furnish(connection, END - timedelta(days=PERIOD_DAYS * (MANY // TYPED) + 30))
    days = min(count, TYPED) // A_DAY
    with transaction(connection):
        setup.add(
            connection,
            pit.car,
            [SetupLine("Chassis", f"Entry {number}", "1.0", "mm") for number in range(ENTRIES)],
            END,
        )
        for number in range(days):
            morning = END - timedelta(days=round(PERIOD_DAYS * (days - 1 - number) / days))
            a_day(connection, rng, pit, morning - timedelta(hours=3))
        connection.execute("UPDATE heats SET done_at = starts_at")
        copy_back(connection, count // TYPED - 1)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.execute("PRAGMA optimize")
    return app


def a_day(connection: sqlite3.Connection, rng: random.Random, pit: Any, morning: datetime) -> None:
    """Log one meeting's runs, with the set-up changed after every third."""
    starts = [morning + timedelta(minutes=8 * number) for number in range(A_DAY)]
    meeting, _ = meetings.save_meeting(
        connection,
        Meeting(
            day=morning.date(),
            time_zone="Europe/Lisbon",
            track_id=pit.track,
            race_class_id=pit.race_class,
            car_id=pit.car,
        ),
        END,
        [Entry("heat", start) for start in starts],
    )
    entries = setup.entries(connection, pit.car)
    fresh = Snapshot(car=FittedCar(id=pit.car, name=""))
    for number, heat in enumerate(meetings.heats(connection, meeting)):
        item = Run(
            car_id=pit.car,
            meeting_id=meeting,
            heat_id=heat.id,
            track_id=pit.track,
            race_class_id=pit.race_class,
            motor_id=pit.motor,
            pack_id=rng.choice((pit.pack, pit.other_pack)),
            tyre_set_id=rng.choice((pit.tyres, pit.other_tyres)),
            started_at=heat.starts_at,
            time_zone="Europe/Lisbon",
            pinion_teeth=rng.randint(40, 48),
            spur_teeth=66,
            internal_ratio=1.9,
            tyre_diameter_mm=round(rng.uniform(60, 64), 1),
            can_c=round(rng.uniform(50, 80), 1),
            read_after_s=rng.choice((0, 30, 60)),
            air_c=round(rng.uniform(5, 30), 1),
            track_c=round(rng.uniform(5, 50), 1),
            grip=rng.choice(("low", "medium", "high")),
            wind=rng.choice(("none", "light", "strong")),
            dust=rng.choice(("none", "some", "much")),
            wet=rng.choice(("dry", "damp", "wet")),
            best_lap_s=round(rng.uniform(14.5, 15.8), 3),
            laps=LAPS,
            run_s=round(rng.uniform(300, 315), 1),
            position=rng.randint(1, 10),
            remarks="Loose on the way into the sweeper" if number % 4 == 0 else "",
            snapshot=fresh,
        )
        if number % 3 == 0:
            entry = rng.choice(entries)
            setup.set_value(connection, entry.id, f"{rng.uniform(1, 9):.1f}", END)
            fresh = snapshot(connection, item)
        run_id, _ = store.save_run(connection, item.model_copy(update={"snapshot": fresh}), END)
        laps_s = [rng.uniform(14.5, 17) for _ in range(LAPS)]
        laps.save_laps(connection, run_id, laps_s, END)


def copy_back(connection: sqlite3.Connection, times: int) -> None:
    """Copy all meetings, heats and runs so many times, each half a year further back.

    Each half-year wears out two tyre sets of its own.
    """
    for number in range(2 * times):
        worn_out, _ = tyres.save(connection, TyreSet(name=f"Worn out {number}"), END)
        tyres.remove(connection, worn_out, END)
    for kept_in in ("meetings", "heats", "run_setups", "runs"):
        names = [row["name"] for row in connection.execute(f"PRAGMA table_info({kept_in})")]
        last = connection.execute(
            f"SELECT max(id) FROM {kept_in} WHERE id <= {TYPED * 3}"
        ).fetchone()
        values = {
            "id": f"id + {TYPED * 3} * :k",
            "meeting_id": f"meeting_id + {TYPED * 3} * :k",
            "heat_id": f"heat_id + {TYPED * 3} * :k",
            "setup_id": f"setup_id + {TYPED * 3} * :k",
            "tyre_set_id": "tyre_set_id + 2 * :k",
            "uuid": "lower(hex(randomblob(16)))",
            "digest": "lower(hex(randomblob(16)))",
            "day": "date(day, :back)",
        } | {
            name: f"strftime('%Y-%m-%dT%H:%M:%SZ', {name}, :back)"
            for name in ("starts_at", "done_at", "started_at")
        }
        for k in range(1, times + 1):
            connection.execute(
                f"INSERT INTO {kept_in} ({', '.join(names)}) "
                f"SELECT {', '.join(values.get(name, name) for name in names)} "
                f"FROM {kept_in} WHERE id <= :last",
                {"k": k, "back": f"-{PERIOD_DAYS * k} days", "last": last[0]},
            )


def pages(app: Flask) -> list[str]:
    """Return the address of every page, with numbers filled in."""
    client = app.test_client()
    found = []
    for rule in app.url_map.iter_rules():
        if "GET" not in (rule.methods or set()) or rule.rule.startswith(LEFT_OUT):
            continue
        if any(type(each).__name__ != "IntegerConverter" for each in rule._converters.values()):
            continue
        path = rule.build(dict.fromkeys(rule.arguments, 1))
        if path and is_page(client, path[1]):
            found.append(path[1])
    return sorted(found)


def is_page(client: FlaskClient, path: str) -> bool:
    """Tell whether the address answers with a page."""
    answer = client.get(path)
    return answer.status_code == 200 and answer.mimetype == "text/html"

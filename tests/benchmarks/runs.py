"""Every page with 20 000 runs over ten years beside the same page with 20, and the file's size.

Pages are asked for in this process, without a network between, so that the ratio is that of the work
done for them. An address with a number in it is asked for with one that exists in both.
"""

from __future__ import annotations

import random
import sqlite3
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from pitapp import create_app
from pitapp.db import transaction
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting
from pitapp.runs import store
from pitapp.runs.fitting import snapshot
from pitapp.runs.formulas import Written
from pitapp.runs.models import FittedCar, Run, Snapshot, TyreSet
from pitapp.runs.setup import store as setup
from pitapp.runs.tyres import store as tyres
from tests.benchmarks import Row, row_of, table
from tests.runs_support import furnish

MANY, FEW, A_DAY = 20_000, 20, 20
TYPED, PERIOD_DAYS = 1_000, 182
"""So many runs are saved as a racer's are; the others are their copies, half a year apart."""
END = datetime(2026, 5, 16, 9, 0, tzinfo=UTC)
ENTRIES = 20
ROUNDS, CALLS_S = 5, 0.15
MOST_MB = 30
LEFT_OUT = ("/static/", "/undo/", "/token")


def rows() -> list[Row]:
    """Return the rate of every page with many runs and with few, the slowest beside few first."""
    with tempfile.TemporaryDirectory() as folder:
        few, many = (season(Path(folder, str(count)), count) for count in (FEW, MANY))
        size = sum(path.stat().st_size for path in Path(folder, str(MANY)).glob("pitapp.sqlite3*"))
        found = [rate_row(path, few, many) for path in pages(few, many)]
        for app in (few, many):
            app.extensions["pitapp.db"].close()
    file_row = row_of(
        f"file with {MANY} runs", [(size / 1e6, float(MOST_MB))], unit="MB", target="at most 1"
    )
    return [file_row, *sorted(found, key=lambda row: row.ratio)]


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
            [Written("Chassis", f"Entry {number}", "1.0", "mm") for number in range(ENTRIES)],
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
            best_lap_s=round(rng.uniform(14.5, 15.8), 3),
            laps=20,
            run_s=round(rng.uniform(300, 315), 1),
            position=rng.randint(1, 10),
            remarks="Loose on the way into the sweeper" if number % 4 == 0 else "",
            snapshot=fresh,
        )
        if number % 3 == 0:
            entry = rng.choice(entries)
            setup.set_value(connection, entry.id, f"{rng.uniform(1, 9):.1f}", END)
            fresh = snapshot(connection, item)
        store.save_run(connection, item.model_copy(update={"snapshot": fresh}), END)


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


def pages(few: Flask, many: Flask) -> list[str]:
    """Return the address of every page that both apps serve, with numbers filled in."""
    found = []
    for rule in few.url_map.iter_rules():
        if "GET" not in (rule.methods or set()) or rule.rule.startswith(LEFT_OUT):
            continue
        if any(argument != "int" for argument in kinds(rule)):
            continue
        path = rule.build(dict.fromkeys(rule.arguments, 1))
        if path and all(is_page(app.test_client(), path[1]) for app in (few, many)):
            found.append(path[1])
    return sorted(found)


def kinds(rule: Any) -> set[str]:
    """Return the kinds of the numbers and texts in an address."""
    return {
        "int" if type(converter).__name__ == "IntegerConverter" else "other"
        for converter in rule._converters.values()
    }


def is_page(client: FlaskClient, path: str) -> bool:
    answer = client.get(path)
    return answer.status_code == 200 and answer.mimetype == "text/html"


def rate_row(path: str, few: Flask, many: Flask) -> Row:
    """Return requests a second for one page, in turn with many and with few runs."""
    clients = many.test_client(), few.test_client()
    pairs = [(rate(clients[0], path), rate(clients[1], path)) for _ in range(ROUNDS)]
    return row_of(path, pairs, unit="requests/s", target="at least 0.33")


def rate(client: FlaskClient, path: str) -> float:
    """Return requests a second over a short time."""
    begin, count = time.perf_counter(), 0
    while (passed := time.perf_counter() - begin) < CALLS_S or count < 2:
        client.get(path)
        count += 1
    return count / passed


if __name__ == "__main__":
    print(table(rows()))

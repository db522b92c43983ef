"""What the Forecast page costs for 400 gears on a track of ten straights, with 60 logged runs.

The time that the forecast adds is the page with it less the same page asking for a straight; the
reference is the 100 ms that it may take. Processor time, so that a busy machine changes little.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from flask.testing import FlaskClient

from pitapp import create_app
from pitapp.kit import store as kit
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Straight, Track
from tests.benchmarks import Row, row_of
from tests.drive_racer import add_car, log_runs

LENGTHS = (45, 20, 12, 30, 8, 25, 15, 10, 18, 35)
PINIONS, SPURS = range(30, 50), range(70, 90)
MAY_ADD_MS = 100.0
ROUNDS = 15


def rows() -> list[Row]:
    """Return what the forecast adds to its page, in ms, the first time and later."""
    with page() as client:
        first = _ms(client, "/forecast") - _ms(client, "/forecast/feel?track=0")
        later = [
            (_ms(client, "/forecast") - _ms(client, "/forecast/feel?track=0"), MAY_ADD_MS)
            for _ in range(ROUNDS)
        ]
    return [
        row_of("Forecast page, first time", [(first, MAY_ADD_MS)], unit="ms", target="none"),
        row_of("Forecast page, 400 gears", later, unit="ms", target="at most 1"),
    ]


@contextmanager
def page() -> Iterator[FlaskClient]:
    """A client of an app with 400 gears that fit, ten straights and 60 runs."""
    now = datetime.now(UTC)
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Path(folder) / "data")
        connection = app.extensions["pitapp.db"].connection()
        car = add_car(connection, now, least_tooth_sum=None, most_tooth_sum=None)
        for gear in kit.gears(connection):
            kit.remove_gear(connection, gear.id, now)
        kit.add_gears(connection, "pinion", "dp:64", list(PINIONS), now)
        kit.add_gears(connection, "spur", "dp:64", list(SPURS), now)
        straights = tuple(
            Straight(length_m=length, entry_kmh=18 + i, exit_kmh=20 + i)
            for i, length in enumerate(LENGTHS)
        )
        track = Track(name="Ten straights", lap_length_m=400, straights=straights)
        track_id, _ = tracks.save_track(connection, track, now)
        log_runs(connection, car, track_id, now, 60)
        client = app.test_client()
        _ms(client, "/forecast/feel?track=0")
        yield client
        app.extensions["pitapp.db"].close()


def _ms(client: FlaskClient, path: str) -> float:
    begin = time.process_time()
    answer = client.get(path)
    taken = (time.process_time() - begin) * 1000.0
    if answer.status_code != 200:
        raise AssertionError(f"{path} answered {answer.status}")
    return taken

"""Which room a test belongs to, by its file's name: `pytest -m packs` runs one room's tests."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest

ROOMS = frozenset(
    (
        *("board", "gearing", "motor", "heat", "drive", "roll", "packs", "kit", "meetings", "runs"),
        *("tracks", "checks", "bench", "copies", "exchange", "devices", "offline", "settings"),
        *("demo", "pocket", "sound", "web", "db", "house", "cli"),
    )
)
OF_ROOM = {
    "forecast": "drive",
    "charge": "packs",
    "meeting": "meetings",
    "drafts": "web",
    "calendar": "meetings",
    "results": "meetings",
    "report": "meetings",
    "wear": "kit",
    "flag": "runs",
    "photographs": "runs",
    "conditions": "runs",
    "lap": "runs",
    "laps": "runs",
}
LONG = {"proof", "soak"}
LONG_FILES = {"test_packs_days", "test_packs_plan", "test_demo_season", "test_house_packaging"}


def register(config: pytest.Config) -> None:
    """Make the rooms' names known as marks."""
    for room in sorted(ROOMS):
        config.addinivalue_line("markers", f"{room}: the tests of this room.")
    config.addinivalue_line("markers", "long: thousands of cases, kills, attacks, whole seasons.")


def mark(items: Iterable[pytest.Item], folder: Path) -> None:
    """Give each test in the folder its room, and `long` where it takes long."""
    for item in items:
        if not item.path.is_relative_to(folder):
            continue
        word = item.path.stem.removeprefix("test_").split("_")[0]
        room = OF_ROOM.get(word, word)
        if room in ROOMS:
            item.add_marker(room)
        if word in LONG or item.path.stem in LONG_FILES:
            item.add_marker("long")

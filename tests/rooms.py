"""Which room a test belongs to, by its file's name: `pytest -m packs` runs one room's tests."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
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


def marks(path: Path) -> set[str]:
    """The marks of every test in a file.

    >>> sorted(marks(Path("test_packs_plan.py"))), marks(Path("test_calendar.py"))
    (['long', 'packs'], {'meetings'})
    """
    word = path.stem.removeprefix("test_").split("_")[0]
    room = OF_ROOM.get(word, word)
    is_long = word in LONG or path.stem in LONG_FILES
    return ({room} & ROOMS) | ({"long"} if is_long else set())


def is_left_out(path: Path, wanted: str) -> bool:
    """Whether no test of a file is wanted by `-m`; such a file need not be read at all.

    >>> is_left_out(Path("test_web_plot.py"), "packs and not long")
    True
    >>> is_left_out(Path("test_packs_ready.py"), "packs and not long")
    False
    >>> is_left_out(Path("test_packs_ready.py"), "web and every_engine")
    False
    """
    words = set(re.findall(r"\w+", wanted)) - {"and", "or", "not"}
    known = ROOMS - {"pocket"} | {"long"}  # journeys of other rooms are run in the pocket too
    if not path.name.startswith("test_") or not words or words - known:
        return False
    own = marks(path)
    with suppress(SyntaxError):
        return not eval(wanted, {"__builtins__": {}}, {word: word in own for word in words})
    return False


def mark(items: Iterable[pytest.Item], folder: Path) -> None:
    """Give each test in the folder its room, and `long` where it takes long."""
    for item in items:
        if item.path.is_relative_to(folder):
            for name in sorted(marks(item.path)):
                item.add_marker(name)

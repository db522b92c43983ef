"""What a copy is never written over, what a killed one leaves, and what is not read as one."""

from __future__ import annotations

import os
import re
import signal
import socket
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from flask import Flask

from pitapp.cli import cli
from pitapp.copies.target import replacing
from pitapp.demo import fill
from pitapp.errors import DataError

WHOLE = 60


@pytest.fixture
def live(app: Flask) -> Path:
    """The database of a season."""
    fill(app)
    folder: Path = app.config["PITAPP_DATA_DIR"]
    return folder / "pitapp.sqlite3"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [*map(str, arguments)])


def backup(live: Path, target: Path) -> Result:
    return run("backup", target, "--data", live.parent)


def runs_in(path: Path) -> int:
    with closing(sqlite3.connect(path)) as database:
        found: int = database.execute("SELECT count(*) FROM runs").fetchone()[0]
        return found


def link(place: Path, to: Path) -> Path:
    place.symlink_to(to)
    return place


def hard_link(place: Path, to: Path) -> Path:
    place.hardlink_to(to)
    return place


def fifo(place: Path) -> Path:
    os.mkfifo(place)
    return place


def device(place: Path) -> Path:
    """A device of the test's own, or where that is not allowed a socket: never one of the machine's."""
    try:
        os.mknod(place, stat.S_IFCHR | 0o600, os.makedev(1, 3))
    except OSError:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(str(place))
    return place


def text(place: Path, words: str) -> Path:
    place.write_text(words, encoding="utf-8")
    return place


REFUSED: dict[str, Callable[[Path, Path], Path]] = {
    "the data itself": lambda live, _: live,
    "the data by a way round": lambda live, _: live.parent / ".." / live.parent.name / live.name,
    "a link to the data": lambda live, other: link(other / "copy", live),
    "a link to a link to the data": lambda live, other: link(
        other / "copy", link(other / "first", live)
    ),
    "another name of the data": lambda live, other: hard_link(other / "copy", live),
    "its log": lambda live, _: live.with_name("pitapp.sqlite3-wal"),
    "its journal, not there": lambda live, _: live.with_name("pitapp.sqlite3-journal"),
    "its key": lambda live, _: live.parent / "secret.key",
    "a device": lambda _, other: device(other / "copy"),
    "a link to a device": lambda _, other: link(other / "copy", device(other / "first")),
    "a pipe": lambda _, other: fifo(other / "copy"),
    "a folder": lambda _, other: other,
    "a link to a folder": lambda _, other: link(other / "copy", other),
    "a link to itself": lambda _, other: link(other / "copy", other / "copy"),
    "a text": lambda _, other: text(other / "notes.txt", "my notes"),
}


@pytest.mark.parametrize("named", REFUSED.values(), ids=REFUSED.keys())
def test_a_copy_is_not_written_over(
    live: Path, tmp_path: Path, named: Callable[[Path, Path], Path]
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    target = named(live, other)
    kind = os.lstat(target).st_mode if os.path.lexists(target) else None
    before = {path: path.read_bytes() for path in live.parent.iterdir() if path.is_file()}
    done = backup(live, target)
    assert done.exit_code not in (0, None)
    assert done.exception is None or isinstance(done.exception, SystemExit | DataError)
    after = {path: path.read_bytes() for path in live.parent.iterdir() if path.is_file()}
    assert after.keys() == before.keys()
    assert after[live.parent / "secret.key"] == before[live.parent / "secret.key"]
    assert runs_in(live) > 50
    assert (os.lstat(target).st_mode if os.path.lexists(target) else None) == kind
    assert not list(other.glob(".*part*"))


def test_a_copy_takes_the_place_of_an_earlier_one_and_of_an_empty_file(
    live: Path, tmp_path: Path
) -> None:
    empty = text(tmp_path / "empty", "")
    for target in (tmp_path / "copy", tmp_path / "copy", empty, link(tmp_path / "link", empty)):
        done = backup(live, target)
        assert done.exit_code == 0, done.output
        assert runs_in(target) > 50
    assert (tmp_path / "link").is_symlink(), "what it leads to was written"


def test_what_a_killed_backup_left_is_cleared_by_the_next(live: Path, tmp_path: Path) -> None:
    """Killed in the midst of it, with SIGKILL; the part of one that is still going on stays."""
    target = tmp_path / "copy"
    code = (
        "import os, signal, sys; from pathlib import Path; from pitapp.copies import store; "
        "store.examine = lambda _: os.kill(os.getpid(), signal.SIGKILL); "
        "from pitapp.db.connect import connect; "
        "store.write_copy(connect(Path(sys.argv[1])), Path(sys.argv[2]))"
    )
    killed = subprocess.run(
        [sys.executable, "-c", code, str(live), str(target)], timeout=WHOLE, check=False
    )
    assert killed.returncode == -signal.SIGKILL
    (left,) = tmp_path.glob(".copy.*.part")
    assert left.stat().st_size > 0
    text(left.with_name(left.name + "-journal"), "x")
    with replacing(target) as going_on:
        text(going_on, "half of it")
        assert not left.exists()
        assert not left.with_name(left.name + "-journal").exists()
        assert backup(live, target).exit_code == 0
        assert going_on.read_text(encoding="utf-8") == "half of it"
        going_on.write_bytes(target.read_bytes())
    assert runs_in(target) > 50
    assert [path.name for path in tmp_path.iterdir() if "part" in path.name] == []


def test_a_copy_that_fails_leaves_nothing_and_changes_nothing(tmp_path: Path) -> None:
    target = text(tmp_path / "copy", "before")

    def fail() -> None:
        with replacing(target) as part:
            text(part, "half")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert target.read_text(encoding="utf-8") == "before"
    assert list(tmp_path.iterdir()) == [target]


def test_a_pipe_a_device_and_the_data_itself_are_not_restored(live: Path, tmp_path: Path) -> None:
    for file, said in (
        (fifo(tmp_path / "pipe"), "is a pipe or a device"),
        (device(tmp_path / "device"), "is a pipe or a device"),
        (live, "is your data itself"),
        (link(tmp_path / "link", live), "is your data itself"),
    ):
        done = subprocess.run(
            [sys.executable, "-m", "pitapp", "restore", str(file), "--yes", "--data", live.parent],
            capture_output=True,
            text=True,
            timeout=WHOLE,
            check=False,
        )
        assert done.returncode == 3
        assert re.search(said, done.stderr), done.stderr
        assert "Traceback" not in done.stderr
    assert runs_in(live) > 50

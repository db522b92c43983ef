"""One server on one data folder: a second is told where the first is, and a kill leaves nothing behind."""

from __future__ import annotations

import re
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitapp import create_app
from pitapp.cli import cli, main
from pitapp.errors import AlreadyServed, DataError
from pitapp.web.instance_lock import NAME, serving


class First:
    """A server in a process of its own."""

    def __init__(self, folder: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "pitapp", "serve", "--port", "0", "--data", str(folder)],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        found = re.search(r"http://\S+", self.process.stdout.readline())
        assert found is not None
        self.address = found[0]

    def answers(self) -> bool:
        with urllib.request.urlopen(self.address, timeout=20) as answer:
            return bool(answer.status == 200)


@pytest.fixture
def first(tmp_path: Path) -> Iterator[First]:
    server = First(tmp_path)
    yield server
    server.process.kill()
    server.process.wait(timeout=20)


def test_a_second_server_is_told_and_the_first_goes_on(
    first: First,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    data = ["--data", str(tmp_path)]
    monkeypatch.setattr(sys, "argv", ["pitapp", "serve", "--port", "0", *data])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 4
    said = capsys.readouterr().err
    assert f"pitapp already runs on {tmp_path} at {first.address}." in said
    assert "stop it first" in said
    assert said.count("\n") == 1

    runner, copy = CliRunner(), str(tmp_path / "copy.sqlite3")
    assert runner.invoke(cli, ["backup", copy, *data]).exit_code == 0
    assert runner.invoke(cli, ["inspect", *data]).exit_code == 0
    refused = runner.invoke(cli, ["restore", copy, "--yes", *data])
    assert isinstance(refused.exception, AlreadyServed)
    assert "Bring the copy back there" in str(refused.exception)
    create_app(tmp_path).extensions["pitapp.db"].close()
    assert first.answers()

    first.process.kill()
    first.process.wait(timeout=20)
    with serving(tmp_path) as say:
        say("http://localhost:1/")
        with pytest.raises(AlreadyServed, match="http://localhost:1/"), serving(tmp_path):
            pass
    assert runner.invoke(cli, ["restore", copy, "--yes", *data]).exit_code == 0


def test_one_that_is_not_served_yet_names_no_address(tmp_path: Path) -> None:
    (tmp_path / NAME).write_text("http://localhost:9/ of a server that was killed", "ascii")
    with serving(tmp_path), pytest.raises(AlreadyServed) as told, serving(tmp_path):
        pass
    assert "http" not in str(told.value)


def test_a_folder_that_is_gone_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="cannot be written"), serving(tmp_path / "gone"):
        pass

"""The command: what it serves, and what it says when it cannot."""

from __future__ import annotations

import re
import socket
import ssl
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitapp import __version__
from pitapp.cli import cli
from tests.support import serving


def test_the_demo_serves_invented_data_and_says_so() -> None:
    process = subprocess.Popen(
        [sys.executable, "-u", "-m", "pitapp", "demo", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        assert process.stdout is not None
        found = re.search(r"http://\S+", process.stdout.readline())
        assert found is not None
        with urllib.request.urlopen(found[0], timeout=20) as answer:
            page = answer.read().decode()
        assert "Invented demo data" in page
        process.terminate()
        assert process.wait(timeout=20) == 0
    finally:
        process.kill()


def test_a_port_in_use_is_a_sentence(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        done = CliRunner().invoke(cli, ["serve", "--port", port, "--data", str(tmp_path)])
    assert done.exit_code == 1
    assert "Is pitapp running already?" in done.output
    assert "Traceback" not in done.output


def test_a_data_folder_that_is_a_file_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pitapp", "serve", "--data", str(tmp_path / "file" / "data")],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == 3
    assert "cannot be used" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("arguments", [["--version"], ["--help"], ["serve", "--help"]])
def test_the_command_explains_itself(arguments: list[str]) -> None:
    done = CliRunner().invoke(cli, arguments)
    assert done.exit_code == 0
    assert __version__ in done.output or "--port" in done.output or "serve" in done.output


def test_sharing_says_where_and_by_what_code(tmp_path: Path) -> None:
    with serving("--share", "--https", "--port", "0", "--data", tmp_path) as said:
        assert re.search(r"On the other device open https://\S+:\d+/", said)
        assert re.search(r"the code \d{4} \d{4} within five minutes", said)
        assert "█" in said
        trusting = ssl.create_default_context(cafile=str(tmp_path / "tls" / "authority.crt"))
        found = re.search(r"is at (https://localhost:\d+/)", said)
        assert found is not None
        with urllib.request.urlopen(found[1], timeout=20, context=trusting) as answer:
            assert answer.status == 200

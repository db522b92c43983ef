"""The engines of the browser tests: left out where they are absent, and named; got or asked for."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from e2e.engines import present
from e2e.engines.present import CHROMIUM, ENGINES, FIREFOX, WEBKIT
from tests.house import ROOT

JOURNEY = "e2e/test_gearing.py::test_a_new_user_gets_a_gear_on_record_in_under_ninety_seconds"


def collect(tmp_path: Path, programs: tuple[str, ...], **environ: str) -> tuple[int, list[str]]:
    """Collect a journey on a machine with these programs only; return the exit code and the lines."""
    for program in programs:
        (tmp_path / program).symlink_to(shutil.which("true") or "/bin/true")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "--collect-only", "-q", JOURNEY],
        cwd=ROOT,
        env={**os.environ, "PATH": str(tmp_path), present.EVERY_ENGINE: "", **environ},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, (done.stdout + done.stderr).strip().splitlines()


def collected(lines: list[str]) -> list[str]:
    return re.findall(r"seconds\[(\w+)]", "\n".join(lines))


def test_absent_engines_are_left_out_and_named_in_the_last_line(tmp_path: Path) -> None:
    code, lines = collect(tmp_path, ("chromium", "firefox"))
    assert code == 0
    assert collected(lines) == ["chromium", "firefox"]
    assert lines[-1].startswith("Not tested in WebKit.")
    assert "apt-get install xvfb" in lines[-1]


def test_where_every_engine_is_asked_for_none_may_be_absent(tmp_path: Path) -> None:
    code, lines = collect(tmp_path, ("chromium",), **{present.EVERY_ENGINE: "1"})
    assert code != 0
    assert any("Not tested in Firefox and WebKit." in line for line in lines)


def test_every_machine_that_has_them_runs_a_journey_in_all(tmp_path: Path) -> None:
    everything = ("chromium", "firefox-esr", "Xvfb")
    _, lines = collect(tmp_path, everything, PITAPP_SYSTEM_PYTHON=shutil.which("true") or "true")
    assert collected(lines) == [engine.name for engine in ENGINES]
    assert not lines[-1].startswith("Not tested")


@pytest.mark.parametrize("is_root", [True, False])
def test_what_is_missing_is_installed_by_root_and_else_asked_for(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], is_root: bool
) -> None:
    ran: list[list[str]] = []
    monkeypatch.setattr(present.shutil, "which", lambda name: name if name == "apt-get" else None)
    monkeypatch.setattr(present.os, "geteuid", lambda: 0 if is_root else 1000)
    monkeypatch.setattr(present.subprocess, "run", lambda command, **_: ran.append(command))
    monkeypatch.setattr(present, "has_gtk", lambda: False)
    assert present.main() == 1
    asked = capsys.readouterr().err
    for engine in (CHROMIUM, FIREFOX, WEBKIT):
        assert f"no {engine.title}" in asked
        assert set(engine.packages) <= set(asked.split())
    assert [command[0] for command in ran] == (["apt-get", "apt-get"] if is_root else [])
    if is_root:
        assert {"chromium", "firefox-esr", "gir1.2-webkit2-4.1"} <= set(ran[1])

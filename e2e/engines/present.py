"""Which engines this machine has: `python3 e2e/engines/present.py` installs those that are missing.

Needs nothing but Python. It ends with 1 and a sentence where an engine is missing and cannot be had.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass

EVERY_ENGINE = "PITAPP_EVERY_ENGINE"  # set: an engine that is absent fails the tests
SYSTEM_PYTHON = os.environ.get("PITAPP_SYSTEM_PYTHON", "/usr/bin/python3")
GTK = (
    "import gi; gi.require_version('Gtk', '3.0'); gi.require_version('WebKit2', '4.1');"
    "from gi.repository import WebKit2"
)


def has(*programs: str) -> bool:
    """Tell whether one of the programs is there."""
    return any(shutil.which(program) for program in programs)


def has_gtk() -> bool:
    """Tell whether the system's Python can open a window of WebKitGTK."""
    try:
        done = subprocess.run([SYSTEM_PYTHON, "-c", GTK], capture_output=True, check=False)
    except OSError:
        return False
    return done.returncode == 0


@dataclass(frozen=True)
class Engine:
    """A browser's engine, how to see that it is there, and Debian's packages of it."""

    name: str
    title: str
    is_there: Callable[[], bool]
    packages: tuple[str, ...]


CHROMIUM = Engine(
    "chromium",
    "Chromium",
    lambda: has("chromium", "chromium-browser", "google-chrome", "chrome"),
    ("chromium",),
)
FIREFOX = Engine("firefox", "Firefox", lambda: has("firefox-esr", "firefox"), ("firefox-esr",))
WEBKIT = Engine(
    "webkit",
    "WebKit",
    lambda: has("Xvfb") and has_gtk(),
    ("xvfb", "python3-gi", "gir1.2-webkit2-4.1", "fonts-noto-core"),
)
ENGINES = (CHROMIUM, FIREFOX, WEBKIT)


def missing(engines: Iterable[Engine] = ENGINES) -> list[Engine]:
    """Return the engines that this machine has not."""
    return [engine for engine in engines if not engine.is_there()]


def install(engines: Iterable[Engine]) -> None:
    """Install Debian's packages of these engines."""
    packages = [package for engine in engines for package in engine.packages]
    quiet = ("apt-get", "-y", "-qq")
    environ = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in (("update",), ("install", "--no-install-recommends", *packages)):
        subprocess.run([*quiet, *command], check=False, env=environ)


def why_not(engines: Iterable[Engine]) -> str:
    """Say what to do about engines that are missing."""
    engines = tuple(engines)
    names = " and no ".join(engine.title for engine in engines)
    packages = " ".join(package for engine in engines for package in engine.packages)
    return f"This machine has no {names}; as root: apt-get install {packages}"


def main() -> int:
    absent = missing()
    if absent and os.geteuid() == 0 and has("apt-get"):
        install(absent)
        absent = missing(absent)
    if absent:
        print(why_not(absent), file=sys.stderr)
        return 1
    print(f"engines: {', '.join(engine.title for engine in ENGINES)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

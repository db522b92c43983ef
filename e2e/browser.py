"""Find a Chromium to drive, or get one, or say what to do. Never skip."""

from __future__ import annotations

import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

VARIABLE = "PITAPP_BROWSER"

NAMES = (
    "chromium",
    "chromium-browser",
    "chromium-headless-shell",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
)

PLACES = {
    "Darwin": (
        "/Applications/Chromium.app/Contents/MacOS/Chromium",
        "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    ),
    "Windows": (
        "C:/Program Files/Google/Chrome/Application/chrome.exe",
        "C:/Program Files (x86)/Google/Chrome/Application/chrome.exe",
        "C:/Program Files/Chromium/Application/chrome.exe",
    ),
}

# Package manager, whether it needs root, and the commands that install a browser with it.
PACKAGES: tuple[tuple[str, bool, tuple[tuple[str, ...], ...]], ...] = (
    (
        "apt-get",
        True,
        (
            ("apt-get", "update", "-qq"),
            ("apt-get", "install", "-y", "-qq", "--no-install-recommends", "chromium"),
        ),
    ),
    ("dnf", True, (("dnf", "install", "-y", "chromium"),)),
    ("apk", True, (("apk", "add", "chromium"),)),
    ("pacman", True, (("pacman", "-Sy", "--noconfirm", "chromium"),)),
    ("brew", False, (("brew", "install", "--cask", "chromium"),)),
)

DOWNLOAD_SECONDS = 300.0
PACKAGE_SECONDS = 600.0
ANSWER_SECONDS = 30.0

LAUNCH_FLAGS = (
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-quic",
)


class BrowserMissingError(Exception):
    """No browser was found and none could be installed; the message says what to do."""


@dataclass(frozen=True)
class Machine:
    """What the search may ask of the computer it runs on."""

    environ: Mapping[str, str]
    system: str
    is_root: bool
    which: Callable[[str], str | None]
    is_file: Callable[[str], bool]
    run: Callable[[Sequence[str], float], bool]
    say: Callable[[str], None]


def ready_browser(machine: Machine, bundled: str) -> Path:
    """Return a browser that starts; `bundled` is where Playwright keeps its own.

    Raises:
        BrowserMissingError: nothing was found and nothing could be installed.
    """
    named = machine.environ.get(VARIABLE, "")
    if named:
        path = machine.which(named) or named
        if not starts(machine, path):
            raise BrowserMissingError(f"{VARIABLE} names {named}, which is not a working browser.")
        return found(machine, path, f"named by {VARIABLE}")
    for path in candidates(machine, bundled):
        if starts(machine, path):
            return found(machine, path, "already installed")

    machine.say("No Chromium or Chrome is installed: trying Playwright's own download.")
    command = (sys.executable, "-m", "playwright", "install", "chromium")
    if machine.run(command, DOWNLOAD_SECONDS) and starts(machine, bundled):
        return found(machine, bundled, "downloaded by Playwright")
    machine.say("Playwright's download gave no working browser: trying the system's packages.")

    for manager, needs_root, commands in PACKAGES:
        if not machine.which(manager) or (needs_root and not machine.is_root):
            continue
        for step in commands:
            machine.say(f"Running: {' '.join(step)}")
            machine.run(step, PACKAGE_SECONDS)
        for path in candidates(machine, bundled):
            if starts(machine, path):
                return found(machine, path, f"installed with {manager}")
    raise BrowserMissingError(
        "The browser tests need Chromium or Chrome, and none could be installed here. "
        "Install one with your system's package manager (for example: apt-get install chromium) "
        f"or set {VARIABLE} to the path of one, then run the tests again."
    )


def candidates(machine: Machine, bundled: str) -> list[str]:
    """Return the browsers that this machine seems to have, best first."""
    on_path = [path for name in NAMES if (path := machine.which(name))]
    places = [*PLACES.get(machine.system, ()), bundled]
    return on_path + [place for place in places if machine.is_file(place)]


def starts(machine: Machine, path: str) -> bool:
    """Tell whether the file is there and answers when run (a stand-in script does not)."""
    if not machine.is_file(path):
        return False
    # On Windows, asking for the version opens a window instead of answering.
    return machine.system == "Windows" or machine.run((path, "--version"), ANSWER_SECONDS)


def found(machine: Machine, path: str, how: str) -> Path:
    machine.say(f"Browser for the tests: {path} ({how}).")
    return Path(path)


def this_machine(say: Callable[[str], None] = print) -> Machine:
    """Return the computer that the tests run on."""
    return Machine(
        environ=os.environ,
        system=platform.system(),
        is_root=hasattr(os, "geteuid") and os.geteuid() == 0,
        which=shutil.which,
        is_file=lambda path: Path(path).is_file(),
        run=run,
        say=say,
    )


def run(command: Sequence[str], seconds: float) -> bool:
    """Run a command with no input and a time limit; tell whether it succeeded."""
    environ = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    try:
        done = subprocess.run(
            list(command),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=seconds,
            env=environ,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0

"""The three engines, with one set of verbs: Playwright's.

Chromium is driven as always. Firefox and WebKitGTK as the system packages them speak, or are made
to speak, WebDriver BiDi (`bridge.py`), which Playwright speaks to Firefox. So page objects and tests
say `page.goto`, `locator.click` and `expect` and do not know which engine is under them.

What that way of driving lacks: a finger (a tap is a click), `emulate_media`, `route`, and pages in
frames.

A test marked `every_engine` runs in Chromium, Firefox and WebKit (WebKitGTK, the nearest thing to
an iPhone's engine that runs on Linux); one marked `engines(…)` in those it names, and all other
browser tests in Chromium alone. `--browser webkit` runs any test there. Under it:
- `bridge.py` stands in the browser's place: Playwright believes that it has started a Firefox that
  speaks WebDriver BiDi. An unknown command is answered with nothing.
- `webkit/` is WebKitGTK's end of that protocol, run by the system's Python: one window a page, of
  any size, under Xvfb. Taps and keys are the window system's events. Playwright's script in the
  page evaluates texts, which the page's policy forbids: they are sent along as code
  (`program_texts.py`).
- Its pages must not be ephemeral (their consoles are silent), and each has its folder.
  `networkidle` never comes in Firefox: wait for something to be seen.
- `present.py` says what a machine has and installs the rest; `PITAPP_EVERY_ENGINE=1` (`.ci/run`)
  makes an absent engine an error.
"""

from __future__ import annotations

import re
import sys
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserType, Error, Playwright

from e2e.engines.present import ENGINES, Engine, why_not

BRIDGED = ("firefox", "webkit")

# What an engine says of every page, or of one that is left while it asks for something.
NOISE = {
    "webkit": (
        r"Unrecognized Content-Security-Policy directive 'manifest-src'",
        r"Fetch API cannot load http\S+ due to access control checks",
        r"htmx:error: Load failed TypeError: Load failed",
    ),
    "firefox": (
        r"htmx:error: NetworkError when attempting to fetch resource",
        # Said where it shuts a worker down that is answering; faults of the worker have other sentences.
        r"Failed to load ‘[^’]*’\. A ServiceWorker intercepted the request and encountered an unexpected error",
    ),
    "chromium": (),
}


@cache
def here() -> tuple[Engine, ...]:
    """Return the engines of this machine; Chromium always, which the tests get for themselves."""
    bridge = find_spec("websockets") is not None
    return tuple(
        engine for engine in ENGINES if engine.name == "chromium" or (bridge and engine.is_there())
    )


def absent() -> tuple[Engine, ...]:
    """Return the engines that this machine has not."""
    return tuple(engine for engine in ENGINES if engine not in here())


def left_out() -> str:
    """Say which engines the tests were not run in, and what to do; nothing if they ran in all."""
    names = " and ".join(engine.title for engine in absent())
    return names and f"Not tested in {names}. {why_not(absent())}"


def browser_type(playwright: Playwright, name: str) -> BrowserType:
    """Return what starts this engine's browser."""
    return playwright.firefox if name in BRIDGED else playwright.chromium


def launch_args(name: str, folder: Path) -> dict[str, Any]:
    """Return how Playwright starts a bridged engine, by way of a small program written to the folder."""
    program = folder / name
    if not program.exists():
        bridge = Path(__file__).with_name("bridge.py")
        program.write_text(f'#!/bin/sh\nexec "{sys.executable}" "{bridge}" {name} "$@"\n')
        program.chmod(0o755)
    return {"executable_path": str(program), "channel": "moz-firefox"}


def is_one_with_two_numbers(error: Error) -> bool:
    """
    Say whether a page that was gone to is the one that came: Firefox at times shows it under another number than
    the one it promised, and Playwright takes that for another page's coming first, to the same address.
    """
    met = re.search(r'"(.*)" is interrupted by another navigation to "(.*)"', str(error))
    return met is not None and met[1].rstrip("/") == met[2].rstrip("/")


def context_args(name: str, phone: dict[str, Any]) -> dict[str, Any]:
    """Return a phone as this engine can be one."""
    return {key: value for key, value in phone.items() if name == "chromium" or key != "is_mobile"}

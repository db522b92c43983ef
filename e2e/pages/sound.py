"""A phone whose microphone is a sound file, or is refused, or is not there."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserType, Page

from e2e.watch import Watch

ALLOWED = "--use-fake-ui-for-media-stream"
MADE_UP = "--use-fake-device-for-media-stream"


Listens = Callable[..., AbstractContextManager[Page]]
"""`ears` of the engine at hand."""


@contextmanager
def ears(
    browser_type: BrowserType, launch: dict[str, Any], phone: dict[str, Any], watch: Watch,
    sound: Path | None = None, *, refused: bool = False, **more: Any,
) -> Iterator[Page]:  # fmt: skip
    """A page in a browser of its own that hears the file, over and over; without one it has no microphone."""
    flags = [MADE_UP, f"--use-file-for-fake-audio-capture={sound}"] if sound else []
    # Without the made-up device the browser must not find one of the machine's own.
    flags += [MADE_UP, "--deny-permission-prompts"] if refused else [ALLOWED]
    env: dict[str, str | float | bool] = {
        **os.environ,
        "PULSE_SERVER": "none",
        "ALSA_CONFIG_PATH": "/dev/null",
    }
    browser = browser_type.launch(**{**launch, "args": [*launch.get("args", ()), *flags]}, env=env)
    context = browser.new_context(**{**phone, **more})
    watch.over(context)
    yield context.new_page()
    context.close()
    browser.close()

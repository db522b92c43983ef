"""How long the page's own thread is busy at a stretch while a screen listens, on a phone four times as slow.

Counted is the processor time of each task; the reference is the longest that a finger does not feel. Nothing is asked
of the page meanwhile: the script that Playwright asks with runs as tasks of the page's own thread, longer ones than
any of the page.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserType, expect, sync_playwright

from e2e.browser import LAUNCH_FLAGS, ready_browser, this_machine
from e2e.conftest import PHONE
from e2e.pages.sound import ears
from e2e.server import Live
from e2e.watch import Watch
from pitapp.demo import fill
from tests.benchmarks import Row
from tests.benchmarks.pages import against
from tests.sounds import write_wav
from tests.sounds.passes import listening

LISTENED_MS = 20_000
SLOWER = 4
LONGEST_MS = 100.0
SEED, SNR_DB = 4, 10
TASKS = ["toplevel", "__metadata", "disabled-by-default-devtools.timeline", "devtools.timeline"]
SCREENS: dict[str, dict[str, str]] = {
    "/sound/bench": {"volts": "7.4"},
    "/sound/limit": {"limit_rpm": "14600"},
    "/sound/passing": {"air_c": "20", "rollout_mm": "50", "limit_rpm": "40000"},
}


def rows() -> list[Row]:
    """Return the longest task of the three screens, in 20 seconds of passing cars each."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        sound = write_wav(Path(folder) / "passes.wav", listening(SEED, SNR_DB, passes=3).samples)
        live = Live(Path(folder) / "data")
        fill(live.app)
        with sync_playwright() as playwright:
            path = ready_browser(this_machine(), playwright.chromium.executable_path)
            launch = {"executable_path": str(path), "args": list(LAUNCH_FLAGS)}
            longest_ms = max(
                longest(playwright.chromium, launch, live.url + screen, typed, sound)
                for screen, typed in SCREENS.items()
            )
        live.stop()
    name = f"longest task while a screen listens, {SLOWER} × slower"
    return [against(name, SLOWER * longest_ms, LONGEST_MS, "ms")]


def longest(
    browser_type: BrowserType, launch: dict[str, Any], url: str, typed: dict[str, str], sound: Path
) -> float:
    """Return the processor time of the longest task of the page's own thread, in ms."""
    with ears(browser_type, launch, PHONE, Watch(), sound) as page:
        page.goto(url)
        for name, text in typed.items():
            page.locator(f"#{name}").fill(text)
        start = page.locator("#ear-start")
        start.scroll_into_view_if_needed()
        button = start.bounding_box()
        browser = page.context.browser
        assert button is not None
        assert browser is not None
        browser.start_tracing(page=page, categories=TASKS)
        page.touchscreen.tap(button["x"] + button["width"] / 2, button["y"] + button["height"] / 2)
        page.wait_for_timeout(LISTENED_MS)
        times_ms = task_times_ms(browser.stop_tracing())
        expect(page.locator("#ear-live")).to_be_visible()
        expect(start).to_have_text("Stop")
        return max(times_ms)


def task_times_ms(trace: bytes) -> list[float]:
    """Return the processor time of each task of the pages' own threads."""
    events = json.loads(trace)["traceEvents"]
    own = {
        (event["pid"], event["tid"])
        for event in events
        if event.get("name") == "thread_name" and event["args"].get("name") == "CrRendererMain"
    }
    return [
        event["tdur"] / 1000
        for event in events
        if event.get("name") in {"RunTask", "ThreadControllerImpl::RunTask"}
        and "tdur" in event
        and (event["pid"], event["tid"]) in own
    ]

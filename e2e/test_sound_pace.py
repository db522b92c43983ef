"""Twenty seconds of listening keep the page answering: no task of it takes over 100 ms on a phone four times as slow.

Counted is the processor time of each task of the page's own thread: a busy machine does not make a page slow.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserType, Page, expect

from e2e.pages.sound import ears
from e2e.server import Live
from e2e.test_sound_passing_screen import car_id, three
from e2e.watch import Watch
from tests.sounds.passes import Listening

__all__ = ["car_id", "three"]
LISTENED_MS = 20_000
SLOWER = 4
LONGEST_MS = 100.0
PATIENCE_MS = 150_000
TASKS = ["toplevel", "__metadata", "disabled-by-default-devtools.timeline", "devtools.timeline"]


@pytest.fixture
def listens(
    browser_type: BrowserType, browser_type_launch_args: dict[str, Any],
    browser_context_args: dict[str, Any], watch: Watch,
) -> Callable[..., AbstractContextManager[Page]]:  # fmt: skip
    return partial(ears, browser_type, browser_type_launch_args, browser_context_args, watch)


def task_times_ms(trace: bytes) -> list[float]:
    """Processor time of each task of the pages' own threads."""
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


@pytest.mark.parametrize(
    ("path", "typed"),
    [
        ("/sound/bench", {"volts": "7.4"}),
        ("/sound/limit", {"limit_rpm": "14600"}),
        ("/sound/passing", {"air_c": "20", "rollout_mm": "50", "limit_rpm": "40000"}),
    ],
)
def test_the_page_answers_while_it_listens(
    live: Live, car_id: int, three: tuple[Path, Listening],
    listens: Callable[..., AbstractContextManager[Page]], path: str, typed: dict[str, str],
) -> None:  # fmt: skip
    with listens(three[0]) as page:
        page.goto(live.url + path)
        for name, text in typed.items():
            page.locator(f"#{name}").fill(text)
        browser = page.context.browser
        assert browser is not None
        browser.start_tracing(page=page, categories=TASKS)
        page.locator("#ear-start").tap()
        expect(page.locator("#ear-live")).to_be_visible(timeout=PATIENCE_MS)
        page.wait_for_timeout(LISTENED_MS)
        times = task_times_ms(browser.stop_tracing())
    print(
        f"{path}: {len(times)} tasks, the longest {max(times):.1f} ms, {SLOWER} times slower {SLOWER * max(times):.0f}"
    )
    assert len(times) > 100
    assert SLOWER * max(times) <= LONGEST_MS

"""Fixtures: a phone-sized browser that is watched, and the app as a racer meets it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Playwright

from e2e.browser import LAUNCH_FLAGS, ready_browser, this_machine
from e2e.pages.offline import Phone
from e2e.server import Live, ServerProcess
from e2e.watch import Watch

PHONE: dict[str, Any] = {
    "viewport": {"width": 360, "height": 640},
    "screen": {"width": 360, "height": 640},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
    "locale": "en-GB",
    "timezone_id": "UTC",
    "service_workers": "block",
}

NO_SERVER = (
    "ERR_CONNECTION_REFUSED",
    "status of 503",
    "ERR_EMPTY_RESPONSE",
    "ERR_CONNECTION_RESET",
)


@contextmanager
def one_at_a_time(folder: Path, patience_s: float = 900) -> Iterator[None]:
    """Keep the workers of one run from installing a browser at the same time."""
    ends = time.monotonic() + patience_s
    while True:
        try:
            folder.mkdir()
            break
        except FileExistsError:
            if time.monotonic() > ends:
                raise
            time.sleep(0.2)
    try:
        yield
    finally:
        folder.rmdir()


@pytest.fixture(scope="session")
def browser_path(
    playwright: Playwright,
    pytestconfig: pytest.Config,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A browser that starts: found, downloaded or installed; else the tests fail and say why."""
    capture = pytestconfig.pluginmanager.getplugin("capturemanager")

    def say(sentence: str) -> None:
        with capture.global_and_fixture_disabled():
            print(f"\n{sentence}", flush=True)

    base = tmp_path_factory.getbasetemp()
    shared = base.parent if hasattr(pytestconfig, "workerinput") else base
    with one_at_a_time(shared / "browser-being-made-ready"):
        return ready_browser(this_machine(say), playwright.chromium.executable_path)


@pytest.fixture(scope="session")
def browser_type_launch_args(
    browser_type_launch_args: dict[str, Any], browser_path: Path
) -> dict[str, Any]:
    args = [*browser_type_launch_args.get("args", ()), *LAUNCH_FLAGS]
    return {"executable_path": str(browser_path), **browser_type_launch_args, "args": args}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    """A small phone; `@pytest.mark.browser_context_args(service_workers="allow")` changes it."""
    return {**browser_context_args, **PHONE}


@pytest.fixture
def watch() -> Iterator[Watch]:
    """What the pages of this test requested and complained of; checked when the test ends."""
    watch = Watch()
    yield watch
    watch.verify()


@pytest.fixture
def new_context(
    request: pytest.FixtureRequest, new_context: Callable[..., BrowserContext], watch: Watch
) -> Callable[..., BrowserContext]:
    """As Playwright's own, and every context is watched; `context` and `page` come from here."""
    for server in {"live", "pitapp_process"} & set(request.fixturenames):
        request.getfixturevalue(server)  # so that pages close before their server stops

    def make(**options: Any) -> BrowserContext:
        context = new_context(**options)
        watch.over(context)
        return context

    return make


@pytest.fixture
def live(tmp_path: Path, watch: Watch) -> Iterator[Live]:
    """The app in this process under the real server, over a fresh data folder."""
    live = Live(tmp_path / "data")
    watch.servers.add(live.netloc)
    yield live
    live.stop()


@pytest.fixture
def pitapp_process(tmp_path: Path, watch: Watch) -> Iterator[ServerProcess]:
    """The app as a process that runs and can be killed, frozen and started again."""
    process = ServerProcess(tmp_path / "data")
    watch.servers.add(process.netloc)
    process.start()
    yield process
    process.kill()


@pytest.fixture
def phone(
    playwright: Playwright,
    browser_path: Path,
    browser_context_args: dict[str, Any],
    tmp_path: Path,
    watch: Watch,
) -> Iterator[Phone]:
    """A browser that keeps a worker, to be closed and opened again."""
    watch.allow(*NO_SERVER)
    phone = Phone(playwright, browser_path, tmp_path / "profile", browser_context_args, watch)
    yield phone
    phone.close()


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with a season of invented data."""
    folder = tmp_path_factory.mktemp("season") / "data"
    from pitapp import create_app
    from pitapp.demo import fill

    app = create_app(folder)
    fill(app)
    app.extensions["pitapp.db"].close()
    return folder


@pytest.fixture
def data_dir(season: Path, tmp_path: Path) -> Path:
    """A copy of the season to write in."""
    return Path(copytree(season, tmp_path / "data"))


@pytest.fixture
def server(data_dir: Path, watch: Watch) -> Iterator[ServerProcess]:
    """The season, served."""
    process = ServerProcess(data_dir)
    watch.servers.add(process.netloc)
    process.start()
    yield process
    process.kill()

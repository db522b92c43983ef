"""Fixtures: a phone-sized browser that is watched, and the app as a racer meets it."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
from playwright.sync_api import (
    BrowserContext,
    BrowserType,
    Error,
    Locator,
    Page,
    Playwright,
    Response,
    expect,
)

from e2e import engines, pocket
from e2e.browser import LAUNCH_FLAGS, ready_browser, this_machine
from e2e.engines.present import EVERY_ENGINE
from e2e.pages.offline import Phone
from e2e.pages.sound import Listens, ears
from e2e.pocket import InBrowser, StaticServer
from e2e.server import Live, Served, ServerProcess
from e2e.watch import Watch
from pitapp.devices.sharing import invitation, open_to
from pitapp.web.server import make_server
from tests import compiled_once, rooms

# Run by the system's Python, which has the bindings that they import.
collect_ignore = ["engines/webkit"]

# Long enough for a machine whose processors are taken by something else.
expect.set_options(timeout=20_000)

SERVED, ALONE = (
    "served",
    "alone",
)  # where a journey has the app: in a server, or in the browser itself
POCKET_LEFT_OUT = pytest.StashKey[str]()
PHONE_ADDRESS = "192.168.7.20"
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

# What the outbox of a phone sends and is refused; a test that means it looks at the Outbox.
REFUSED = ("status of 409", "status of 412", "status of 422")

NO_SERVER = (
    "ERR_CONNECTION_REFUSED",
    "status of 503",
    "ERR_EMPTY_RESPONSE",
    "ERR_CONNECTION_RESET",
    # Firefox and WebKit in their words.
    "NS_ERROR_CONNECTION_REFUSED",
    "Could not connect to 127.0.0.1",
    "Connection reset by peer",
    "Cannot load https?://127.0.0.1",
)


def pytest_configure(config: pytest.Config) -> None:
    rooms.register(config)
    compiled_once.share()
    config.addinivalue_line("markers", "every_engine: run in Chromium, Firefox and WebKit.")
    config.addinivalue_line(
        "markers", "engines(*names): run in these alone, as far as they are here."
    )
    config.addinivalue_line(
        "markers", f"{ALONE}: run against the app in the phone's own browser as well."
    )
    if os.environ.get(EVERY_ENGINE) and engines.left_out():
        raise pytest.UsageError(f"{EVERY_ENGINE} is set. {engines.left_out()}")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    return rooms.is_left_out(collection_path, config.option.markexpr) or None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Give each test its room, and leave out what is for other engines."""
    rooms.mark(items, Path(__file__).parent)
    for item in items:
        if place_of(item) == ALONE:
            own = item.get_closest_marker("browser_context_args")
            options = {**(own.kwargs if own else {}), "service_workers": "allow"}
            item.add_marker(pytest.mark.browser_context_args(**options), append=False)
            item.add_marker("pocket")

    def is_for_others(item: pytest.Item) -> bool:
        some = item.get_closest_marker("engines")
        name = getattr(item, "callspec", None) and item.callspec.params.get("browser_name")  # type: ignore[attr-defined]
        return bool(some and name and name not in some.args)

    def is_out_of_reach(item: pytest.Item) -> bool:
        mine = item.get_closest_marker("pocket") and item.path.is_relative_to(Path(__file__).parent)
        if not mine or os.environ.get(EVERY_ENGINE):
            return False
        if why := pocket.why_not():
            config.stash[POCKET_LEFT_OUT] = f"Not tested in the phone's own browser. {why}"
            if hasattr(config, "workeroutput"):
                config.workeroutput["pocket"] = config.stash[POCKET_LEFT_OUT]
        return bool(why)

    def is_for_a_longer_run(item: pytest.Item) -> bool:
        name = getattr(item, "callspec", None) and item.callspec.params.get("browser_name")  # type: ignore[attr-defined]
        return (
            place_of(item) == ALONE and name != "chromium" and not os.environ.get(pocket.JOURNEYS)
        )

    reasons = (is_for_others, is_out_of_reach, is_for_a_longer_run)
    others = [item for item in items if any(reason(item) for reason in reasons)]
    if others:
        config.hook.pytest_deselected(items=others)
        items[:] = [item for item in items if item not in others]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Take over from a worker what it left out."""
    node.config.stash[POCKET_LEFT_OUT] = getattr(node, "workeroutput", {}).get("pocket", "")


def pytest_unconfigure(config: pytest.Config) -> None:
    """Name what was left out, where the last line of the tests' report stands."""
    if not hasattr(config, "workerinput"):
        sentences = engines.left_out(), config.stash.get(POCKET_LEFT_OUT, "")
        if any(sentences):
            print(" ".join(filter(None, sentences)))


def place_of(item: pytest.Item) -> str:
    """Where a test has the app that it takes as `live`."""
    call = getattr(item, "callspec", None)
    return str(call.params.get("live", SERVED)) if call else SERVED


@pytest.hookimpl(wrapper=True)
def pytest_generate_tests(metafunc: pytest.Metafunc) -> Iterator[None]:
    """Run a journey in every engine that is here, all else in Chromium, or all in what `--browser` names.

    One that is marked so runs in the browser's own Python as well; every one that takes `live`, and
    there alone, where `PITAPP_POCKET_JOURNEYS` says so.
    """
    if "live" in metafunc.fixturenames:
        places = [SERVED, ALONE] if metafunc.definition.get_closest_marker(ALONE) else [SERVED]
        places = [ALONE] if os.environ.get(pocket.JOURNEYS) else places
        if ALONE in places:
            metafunc.parametrize("live", places, indirect=True)
    named = metafunc.config.option.browser
    every = metafunc.definition.get_closest_marker("every_engine")
    some = metafunc.definition.get_closest_marker("engines")
    names = [engine.name for engine in engines.here()] if every or some else ["chromium"]
    metafunc.config.option.browser = named or names
    try:
        return (yield)
    finally:
        metafunc.config.option.browser = named


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
def browser_type(playwright: Playwright, browser_name: str) -> BrowserType:
    return engines.browser_type(playwright, browser_name)


@pytest.fixture(scope="session")
def browser_type_launch_args(
    request: pytest.FixtureRequest,
    browser_type_launch_args: dict[str, Any],
    browser_name: str,
    tmp_path_factory: pytest.TempPathFactory,
) -> dict[str, Any]:
    if browser_name in engines.BRIDGED:
        return engines.launch_args(browser_name, tmp_path_factory.mktemp("engine"))
    args = [*browser_type_launch_args.get("args", ()), *LAUNCH_FLAGS]
    path = str(request.getfixturevalue("browser_path"))
    return {"executable_path": path, **browser_type_launch_args, "args": args}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, Any], browser_name: str) -> dict[str, Any]:
    """A small phone; `@pytest.mark.browser_context_args(service_workers="allow")` changes it."""
    return {**browser_context_args, **engines.context_args(browser_name, PHONE)}


@pytest.fixture
def bridged_engine(browser_name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What an engine behind the bridge needs: a mouse that taps, and to go to a page that it numbers twice."""
    if browser_name not in engines.BRIDGED:
        return
    monkeypatch.setattr(Locator, "tap", Locator.click)
    go = Page.goto

    def goto(page: Page, url: str, **how: Any) -> Response | None:
        try:
            return go(page, url, **how)
        except Error as error:
            if not engines.is_one_with_two_numbers(error):
                raise
            page.wait_for_load_state(how.get("wait_until", "load"))
            return None

    monkeypatch.setattr(Page, "goto", goto)


@pytest.fixture
def watch(request: pytest.FixtureRequest) -> Iterator[Watch]:
    """What the pages of this test requested and complained of; checked when the test ends."""
    watch = Watch()
    if "browser_name" in request.fixturenames:
        watch.allow(*engines.NOISE[request.getfixturevalue("browser_name")])
    yield watch
    watch.verify()


@pytest.fixture
def new_context(
    request: pytest.FixtureRequest,
    new_context: Callable[..., BrowserContext],
    watch: Watch,
    bridged_engine: None,
) -> Callable[..., BrowserContext]:
    """As Playwright's own, and every context is watched; `context` and `page` come from here."""
    alone = place_of(request.node) == ALONE
    servers = {"pitapp_process"} if alone else {"live", "pitapp_process"}
    for server in servers & set(request.fixturenames):
        request.getfixturevalue(server)  # so that pages close before their server stops

    def make(**options: Any) -> BrowserContext:
        context = new_context(**options)
        watch.over(context)
        return context

    return make


@pytest.fixture
def in_browser(
    context: BrowserContext, pocket_site: StaticServer, tmp_path: Path
) -> Iterator[InBrowser]:
    """The app in the browser's own Python; its shell stands in a tab of its own."""
    app = InBrowser(context.new_page, pocket_site, tmp_path)
    yield app
    app.stop()


@pytest.fixture
def live(
    request: pytest.FixtureRequest, tmp_path: Path, watch: Watch
) -> Iterator[Live | InBrowser]:
    """The app in this process under the real server, over a fresh data folder; or in the browser."""
    if place_of(request.node) == ALONE:
        yield request.getfixturevalue("in_browser")
        return
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
def listens(
    browser_type: BrowserType, browser_type_launch_args: dict[str, Any],
    browser_context_args: dict[str, Any], watch: Watch,
) -> Listens:  # fmt: skip
    """Opens a page in a browser of its own that hears a sound file."""
    return partial(ears, browser_type, browser_type_launch_args, browser_context_args, watch)


@pytest.fixture
def phone(
    browser_type: BrowserType,
    browser_type_launch_args: dict[str, Any],
    browser_context_args: dict[str, Any],
    tmp_path: Path,
    watch: Watch,
    bridged_engine: None,
) -> Iterator[Phone]:
    """A browser that keeps a worker, to be closed and opened again."""
    watch.allow(*NO_SERVER, *REFUSED)
    options = {**browser_type_launch_args, **browser_context_args}
    phone = Phone(browser_type, tmp_path / "profile", options, watch)
    yield phone
    phone.close()


@pytest.fixture(scope="session")
def pocket_folder(pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds, further down, what a phone runs by itself; built once for all workers."""
    if ready := os.environ.get(pocket.BUILT):
        return Path(ready)
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if hasattr(pytestconfig, "workerinput") else base
    with one_at_a_time(shared / "pocket-being-built", pocket.BUILDING_AT_MOST_S):
        pocket.built(shared / "pocket" / pocket.UNDER)
    return shared / "pocket"


@pytest.fixture
def pocket_site(pocket_folder: Path, watch: Watch) -> Iterator[StaticServer]:
    """That folder on a plain static server."""
    server = StaticServer(pocket_folder)
    watch.servers.add(server.netloc)
    yield server
    server.stop()


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


@pytest.fixture
def afar(live: Live, watch: Watch) -> Iterator[Served]:
    """The same app as another device on the network meets it, which is not paired."""

    def from_afar(environ: dict[str, Any], start: Any) -> Any:
        return live.app.wsgi_app({**environ, "REMOTE_ADDR": PHONE_ADDRESS}, start)

    open_to(live.app, "127.0.0.1", shared=True, https=False)
    served = Served(from_afar, make_server)
    invitation(live.app, int(served.netloc.rpartition(":")[2]))
    watch.servers.add(served.netloc)
    watch.allow("status of 401")
    yield served
    served.stop()

"""The app in the phone's own browser, with the demo's season: how soon it is there, and how long each page takes.

Beside the starts stands what is wanted; beside the pages, the time that the same pages take in this process.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path
from shutil import copyfile
from statistics import median

from playwright.sync_api import Page, sync_playwright

from e2e import pocket
from e2e.browser import LAUNCH_FLAGS, ready_browser, this_machine
from e2e.conftest import PHONE
from e2e.pages.copies import Copies
from e2e.pages.offline import Phone
from e2e.pages.pocket import Shell
from e2e.test_every_screen import screens
from e2e.watch import Watch
from pitapp import create_app
from pitapp.demo import fill
from pitapp.web.factory import DATABASE_NAME
from tests.benchmarks import Row
from tests.benchmarks.pages import against, p95, p95_ms

FIRST_START_S, START_S = 20.0, 5.0
STARTS, LOOKS, FORECASTS = 5, 3, 10
FORECAST = "/forecast"
PAGE_TARGET, FORECAST_TARGET = "under 1 s", "under 3 s"
TIMES = """async ([addresses, looks]) => {
    const times = [];
    for (const address of addresses) for (let look = 0; look < looks; look += 1) {
        const begin = performance.now();
        const answer = await fetch(address);
        await answer.text();
        if (answer.status !== 200) throw new Error(`${address}: ${answer.status}`);
        times.push((performance.now() - begin) / 1000);
    }
    return times;
}"""


def rows() -> list[Row]:
    """Return the starts and the pages in seconds."""
    if reason := pocket.why_not():
        raise SystemExit(reason)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        folder = Path(name)
        pocket.built(folder / "site" / pocket.UNDER)
        app = create_app(folder / "data")
        fill(app)
        copy = folder / "season.sqlite3"
        app.extensions["pitapp.db"].connection().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        app.extensions["pitapp.db"].close()
        copyfile(folder / "data" / DATABASE_NAME, copy)
        addresses = [each for each in screens(folder / "data") if not each.startswith(FORECAST)]
        client = create_app(folder / "data").test_client()
        page_s = p95([p95_ms(client, each) / 1000 for each in addresses])
        forecast_s = p95_ms(client, FORECAST) / 1000
        first, starts, pages, forecasts = visits(folder, copy, addresses)
    return [
        against("first start, from nothing to the Board", first, FIRST_START_S, "s"),
        against("later starts, to the Board that can be tapped", median(starts), START_S, "s"),
        Row(
            f"{len(addresses)} pages, 95th percentile, beside a server's",
            p95(pages),
            page_s,
            p95(pages) / page_s,
            "s",
            PAGE_TARGET,
        ),
        Row(
            "Forecast, 95th percentile, beside a server's",
            p95(forecasts),
            forecast_s,
            p95(forecasts) / forecast_s,
            "s",
            FORECAST_TARGET,
        ),
    ]


def visits(
    folder: Path, copy: Path, addresses: list[str]
) -> tuple[float, list[float], list[float], list[float]]:
    """Return the seconds of the first start, of later ones, of every page, and of Forecast."""
    site = pocket.StaticServer(folder / "site")
    with sync_playwright() as playwright:
        browser = ready_browser(this_machine(), playwright.chromium.executable_path)
        options = {"executable_path": browser, "args": LAUNCH_FLAGS, **PHONE}
        phone = Phone(playwright.chromium, folder / "profile", options, Watch())
        page = phone.open()
        shell = Shell(page, site.url)
        first = start_s(shell)
        beside = phone.another_page()
        Copies(beside, shell.app).open().bring_back(copy)
        pages = times_s(beside, shell.app, addresses, LOOKS)
        forecasts = times_s(beside, shell.app, [FORECAST], FORECASTS)
        phone.close()
        site.stop()  # from now on with no network
        starts = []
        for _ in range(STARTS):
            starts.append(start_s(Shell(phone.open(), site.url)))
            phone.close()
    return first, starts, pages, forecasts


def start_s(shell: Shell) -> float:
    """Return the seconds from the address to the app."""
    begin = time.perf_counter()
    shell.open()
    return time.perf_counter() - begin


def times_s(page: Page, app: str, addresses: list[str], looks: int) -> list[float]:
    """Return how long each look at each page takes the phone, what it draws apart."""
    times: list[float] = page.evaluate(TIMES, [[app + each for each in addresses], looks])
    return times

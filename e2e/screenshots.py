"""Takes README's screenshots of the demo: `python -m e2e.screenshots` writes `e2e/screenshots/`."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from e2e.browser import LAUNCH_FLAGS, ready_browser, this_machine
from e2e.conftest import PHONE
from e2e.server import Served
from pitapp import create_app
from pitapp.demo import fill
from pitapp.web.server import make_server
from tests.support import RACE_MORNING, Clock

FOLDER = Path(__file__).parent / "screenshots"

# File name, and the page that it shows.
SHOTS = (
    ("board", "/"),
    (
        "gearing",
        "/gearing?spur=66&pinion=45&internal=1.9&tyre=63&kv=2380&volts=7.4&rev_limit=14600",
    ),
    ("forecast", "/forecast"),
    ("checks", "/checks/card"),
    ("runs", "/runs"),
    ("packs", "/packs"),
)


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as folder,
        serving_demo(Path(folder)) as url,
        sync_playwright() as playwright,
    ):
        path = ready_browser(this_machine(), playwright.chromium.executable_path)
        browser = playwright.chromium.launch(executable_path=path, args=list(LAUNCH_FLAGS))
        page = browser.new_context(**PHONE).new_page()
        page.clock.set_fixed_time(RACE_MORNING)
        for name, address in SHOTS:
            take(page, url + address, FOLDER / f"{name}.png")
        browser.close()


@contextmanager
def serving_demo(folder: Path) -> Iterator[str]:
    """Serve the demo as it is on a fixed race morning; give its address."""
    app = create_app(folder, clock=Clock(), invented=True)
    fill(app)
    demo = Served(app, make_server)
    try:
        yield demo.url
    finally:
        demo.stop()
        app.extensions["pitapp.db"].close()


def take(page: Page, url: str, file: Path) -> None:
    """Write what a phone shows of the page, without the rest that would have to be scrolled to."""
    answer = page.goto(url, wait_until="networkidle")
    if answer is None or not answer.ok:
        raise SystemExit(f"{url} gave no page.")
    page.screenshot(path=file)
    print(f"{file} ({file.stat().st_size / 1024:.0f} KiB)")


if __name__ == "__main__":
    main()

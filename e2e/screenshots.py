"""Takes README's screenshots of the demo: `python -m e2e.screenshots` writes `e2e/screenshots/`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from e2e.browser import LAUNCH_FLAGS, ready_browser, this_machine
from e2e.conftest import PHONE
from e2e.server import ServerProcess

FOLDER = Path(__file__).parent / "screenshots"
DEMO = ("-m", "pitapp", "demo")

# File name, and the page that it shows.
SHOTS = (
    ("board", "/"),
    (
        "gearing",
        "/gearing?spur=66&pinion=45&internal=1.9&tyre=63&kv=2460&volts=7.4&rev_limit=15000",
    ),
    ("kit", "/kit"),
)


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        demo = ServerProcess(Path(folder) / "demo", DEMO)
        demo.start()
        try:
            path = ready_browser(this_machine(), playwright.chromium.executable_path)
            browser = playwright.chromium.launch(executable_path=path, args=list(LAUNCH_FLAGS))
            context = browser.new_context(**PHONE)
            for name, address in SHOTS:
                page = context.new_page()
                answer = page.goto(demo.url + address)
                if answer is None or not answer.ok:
                    raise SystemExit(f"{address} answered {answer and answer.status}.")
                page.wait_for_load_state("networkidle")
                file = FOLDER / f"{name}.png"
                page.screenshot(path=file)
                print(f"{file} ({file.stat().st_size / 1024:.0f} KiB)")
                page.close()
            browser.close()
        finally:
            demo.kill()


if __name__ == "__main__":
    main()

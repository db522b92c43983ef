"""What a phone has to fetch at its first visit, and how soon the Board is there at the second with no server.

The reference of each line is its target.
"""

from __future__ import annotations

import gzip
import re
import socket
import tempfile
import threading
from pathlib import Path, PurePosixPath
from posixpath import normpath
from statistics import median

from playwright.sync_api import Page, sync_playwright

from e2e.browser import LAUNCH_FLAGS, ready_browser, this_machine
from e2e.conftest import PHONE
from e2e.pages.offline import Phone, visit_once
from e2e.server import ServerProcess, free_port
from e2e.watch import Watch
from pitapp import create_app
from pitapp.demo import fill
from pitapp.web.http.assets import as_sent
from tests.benchmarks import Row
from tests.benchmarks.pages import against, pages
from tests.house import ROOT

FIRST_VISIT_KB = 140.0
PAGE_SCRIPTS_KB = 30.0
SECOND_VISIT_S = 1.0
SLOW_DOWN = 4
VISITS = 5
SCRIPT = re.compile(r'<script[^>]* src="/static/([^"?]+)')
IMPORT = re.compile(r'(?:from|import) *"(\.{1,2}/[^"]+\.js)"')
PAINTED = """() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime / 1000"""


class Counter:
    """A way through to a server that counts the bytes coming back."""

    def __init__(self, target_port: int) -> None:
        self.port, self.bytes = free_port(), 0
        self._target = target_port
        self._listening = socket.create_server(("127.0.0.1", self.port))
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        """Answer nobody any more."""
        self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
            except OSError:
                return
            far = socket.create_connection(("127.0.0.1", self._target))
            for source, sink, counts in ((near, far, False), (far, near, True)):
                threading.Thread(
                    target=self._pass_on, args=(source, sink, counts), daemon=True
                ).start()

    def _pass_on(self, source: socket.socket, sink: socket.socket, counts: bool) -> None:
        try:
            while piece := source.recv(65536):
                self.bytes += len(piece) if counts else 0
                sink.sendall(piece)
        except OSError:
            pass
        finally:
            sink.close()


def rows() -> list[Row]:
    """Return the weights in kB (1000 bytes) and the time of the second visit."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        visited, painted_s = visits(Path(folder))
    return [
        against("first visit, all that comes over the wire", visited / 1000, FIRST_VISIT_KB, "kB"),
        against("scripts of the heaviest page, compressed", scripts_kb(), PAGE_SCRIPTS_KB, "kB"),
        against(
            f"second visit with no server, {SLOW_DOWN} × slower, first paint",
            painted_s,
            SECOND_VISIT_S,
            "s",
        ),
    ]


def scripts_kb() -> float:
    """Return the weight of the scripts of the page that has most of them, the worker apart."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        app = create_app(folder)
        fill(app)
        client = app.test_client()
        heaviest = max(sum(map(weight, scripts(client.get(path).text))) for path in pages(app))
        app.extensions["pitapp.db"].close()
    return heaviest / 1000


def scripts(html: str) -> set[str]:
    """Return the scripts of a page, with all that they import, by their paths below `static`."""
    todo = set(SCRIPT.findall(html))
    done: set[str] = set()
    while todo:
        name = todo.pop()
        done.add(name)
        text = (ROOT / "static" / name).read_text(encoding="utf-8")
        beside = PurePosixPath(name).parent
        todo |= {normpath(beside / found) for found in IMPORT.findall(text)} - done
    return done


def weight(name: str) -> int:
    """Return the compressed size of a static file in bytes."""
    return len(gzip.compress(as_sent(ROOT / "static" / name), 6))


def visits(folder: Path) -> tuple[int, float]:
    """Visit the Board once by way of the counter, then again without a server."""
    app = create_app(folder / "data")
    fill(app)
    app.extensions["pitapp.db"].close()
    server = ServerProcess(folder / "data")
    server.start()
    counter = Counter(server.port)
    url = f"http://127.0.0.1:{counter.port}/"
    with sync_playwright() as playwright:
        browser = ready_browser(this_machine(), playwright.chromium.executable_path)
        options = {"executable_path": browser, "args": LAUNCH_FLAGS, **PHONE}
        phone = Phone(playwright.chromium, folder / "profile", options, Watch())
        page = phone.open()
        visit_once(page, url)
        page.wait_for_timeout(1000)
        fetched = counter.bytes
        server.kill()
        counter.close()
        times = [second_visit(page, url) for _ in range(VISITS)]
        phone.close()
    return fetched, median(times)


def second_visit(page: Page, url: str) -> float:
    page.goto("about:blank")
    slow = page.context.new_cdp_session(page)
    slow.send("Emulation.setCPUThrottlingRate", {"rate": SLOW_DOWN})
    page.goto(url)
    page.wait_for_function(PAINTED)
    painted: float = page.evaluate(PAINTED)
    slow.detach()
    return painted

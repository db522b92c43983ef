"""The folder that a phone runs by itself: built once, served by a plain static server, in a browser to kill."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from functools import cache
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from io import BytesIO
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from e2e.pages.copies import Copies
from e2e.pages.pocket import Shell
from pitapp import create_app
from pitapp.copies import store
from pitapp.pocket import parts
from pitapp.pocket.parts import PartsMissing
from pitapp.web.factory import DATABASE_NAME
from tests.support import Clock

UNDER = "club/pit"
# Set: a folder that holds club/pit, built before, to be used as it is.
BUILT = "PITAPP_POCKET_BUILT"
# Set: the journeys that take `live` run against the app in the browser's own Python.
JOURNEYS = "PITAPP_POCKET_JOURNEYS"
BUILDING_AT_MOST_S = 1800
DYING_AT_MOST_S = 60
SAYING_AT_MOST_S = 120
# Put before all else in Python's worker: its clock stands where a page says, and it says when it does.
HEARS_THE_TIME = """
const channel = new BroadcastChannel("the clock of a test");
channel.onmessage = ({ data: { ms } }) => {
  if (ms === undefined) return;
  Date.now = () => ms;
  channel.postMessage({ set: ms });
};
"""
TELL_TIME = """(ms) => new Promise((done) => {
  const channel = new BroadcastChannel("the clock of a test");
  channel.onmessage = ({ data }) => { if (data.set === ms) done(channel.close()); };
  channel.postMessage({ ms });
})"""


@cache
def why_not() -> str:
    """Say why the folder cannot be built on this machine; nothing if it can. Fetches what it needs."""
    try:
        parts.program("node")
        for part in (parts.runtime(), *parts.wheels()):
            parts.fetched(part)
    except PartsMissing as error:
        return str(error)
    return ""


def built(folder: Path) -> Path:
    """Return the folder, built by the command itself if it is not there."""
    if not folder.exists():
        command = [sys.executable, "-m", "pitapp", "pocket", str(folder)]
        done = subprocess.run(
            command, capture_output=True, text=True, check=False, timeout=BUILDING_AT_MOST_S
        )
        assert done.returncode == 0, done.stdout + done.stderr
    return folder


class StaticServer:
    """A plain static server over a folder that holds such a folder, and the bytes that it sent."""

    def __init__(self, top: Path, under: str = UNDER) -> None:
        self.sent = 0
        self.words: list[str] = []
        self.first_in_worker = ""  # a script that runs before all else where Python runs
        server = self

        class Files(SimpleHTTPRequestHandler):
            def __init__(self, *given: Any, **more: Any) -> None:
                super().__init__(*given, directory=str(top), **more)

            def do_GET(self) -> None:
                if self.path.startswith("/said/"):
                    server.words.append(self.path.removeprefix("/said/"))
                if server.first_in_worker and self.path.endswith("/python.js"):
                    self._send_worker(Path(self.translate_path(self.path)).read_bytes())
                else:
                    super().do_GET()

            def _send_worker(self, script: bytes) -> None:
                content = server.first_in_worker.encode() + script
                self.send_response(200)
                self.send_header("Content-Type", "text/javascript")
                self.send_header("Content-Length", str(len(content)))
                self.end_headers()
                self.copyfile(BytesIO(content), self.wfile)

            def copyfile(self, source: Any, outputfile: Any) -> None:
                content = source.read()
                server.sent += len(content)
                with suppress(ConnectionError):
                    outputfile.write(content)

            def log_message(self, format: str, *args: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Files)
        self.netloc = f"127.0.0.1:{self._server.server_address[1]}"
        self.url = f"http://{self.netloc}/{under}/"
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        self._runs = True

    def wait_for_word(self, word: str) -> None:
        """Wait until a page has said this to the server."""
        give_up = time.monotonic() + SAYING_AT_MOST_S
        while word not in self.words:
            assert time.monotonic() < give_up, f"{word} was not said; the last: {self.words[-3:]}"
            time.sleep(0.005)

    def numbers(self, word: str) -> list[int]:
        """What pages said with this word before it."""
        return [int(each.split("/")[1]) for each in self.words if each.startswith(f"{word}/")]

    def stop(self) -> None:
        if self._runs:
            self._runs = False
            self._server.shutdown()
            self._server.server_close()


class InBrowser:
    """The app in the phone's own browser, where a journey has the app in a server.

    It is started when its `url` is first asked for, and its web space is gone from then on. What a
    journey writes before that, to the `database` or by the `app`, is brought there as a copy; asked
    for afterwards, both are over a copy of what is there now. Its clock stands at `clock`, as in a
    server under test.
    """

    def __init__(self, new_page: Callable[[], Page], site: StaticServer, folder: Path) -> None:
        self._new_page, self._site, self._folder = new_page, site, folder
        site.first_in_worker = HEARS_THE_TIME
        self._url = ""
        self._shell: Page | None = None
        self._apps: list[Any] = []
        self.clock = WorkersClock(self)

    @property
    def url(self) -> str:
        """Where the app is."""
        if not self._url:
            self._shell = self._new_page()
            shell = Shell(self._shell, self._site.url)
            shell.open()
            self._site.stop()
            self.tell_time()
            self._url = shell.app
            if self._apps:
                given = self._folder / "given.sqlite3"
                store.write_copy(self._apps[0].extensions["pitapp.db"].connection(), given)
                page = self._new_page()
                Copies(page, self._url).open().bring_back(given)
                page.close()
        return self._url

    @property
    def app(self) -> Any:
        """The app over a folder of its own: to write what is brought there, or to read what is there."""
        if self._url or not self._apps:
            folder = self._folder / f"apart-{len(self._apps)}"
            folder.mkdir()
            if self._url:
                page = self._new_page()
                Copies(page, self._url).open().take_away(folder / DATABASE_NAME)
                page.close()
            self._apps.append(create_app(folder, clock=self.clock))
        return self._apps[-1]

    @property
    def database(self) -> Path:
        """The file of that app's database."""
        path: Path = self.app.extensions["pitapp.db"].path
        return path

    def tell_time(self) -> None:
        """Let Python's clock there stand where the test's stands."""
        if self._shell:
            self._shell.evaluate(TELL_TIME, self.clock().timestamp() * 1000)

    def stop(self) -> None:
        """Close what was opened for reading and writing."""
        for app in self._apps:
            app.extensions["pitapp.db"].close()

    def __getattr__(self, name: str) -> Any:
        raise AttributeError(f"This journey needs a server: it asks for `live.{name}`.")


class WorkersClock(Clock):
    """A clock that the app in the browser goes by as well."""

    def __init__(self, app: InBrowser) -> None:
        super().__init__()
        self._app = app

    def set(self, moment: datetime) -> None:
        super().set(moment)
        self._app.tell_time()

    def tick(self, seconds: float) -> None:
        super().tick(seconds)
        self._app.tell_time()


def beside(pocket_folder: Path, top: Path, page: Path) -> StaticServer:
    """A server of a page of the tests, with the built folder beside it at `club/pit`."""
    name = page.name.removeprefix("pocket_")
    club = top / "club"
    club.mkdir(parents=True)
    (club / "pit").symlink_to(pocket_folder / UNDER)
    (club / name).symlink_to(page)
    return StaticServer(top, under=f"club/{name}")


def make_newer(folder: Path, version: str, *missing: str) -> None:
    """Give the folder another version, which lists files that are not there, if any are named."""
    before = json.loads((folder / "pitapp-pocket.json").read_text())["version"]
    for name in ("list.js", "sw.js", "pitapp-pocket.json"):
        path = folder / name
        text = path.read_text().replace(before, version)
        for each in missing:
            text = text.replace('"./",', f'"./",\n  "{each}",')
        path.write_text(text)
    with (folder / "shell.css").open("a") as style:
        style.write(f"/* {version} */\n")


def kill_browser(profile: Path) -> None:
    """SIGKILL every process of the browser over this profile, and those that they have started."""
    parents: dict[int, int] = {}
    own: set[int] = set()
    for entry in Path("/proc").iterdir():
        if not entry.name.isdecimal():
            continue
        with suppress(OSError, IndexError):
            after_name = (entry / "stat").read_text().rpartition(")")[2].split()
            parents[int(entry.name)] = int(after_name[1])
            if str(profile).encode() in (entry / "cmdline").read_bytes():
                own.add(int(entry.name))
    more = own
    while more:
        more = {pid for pid, parent in parents.items() if parent in own} - own
        own |= more
    assert own, "No process of the browser runs."
    for pid in own:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    give_up = time.monotonic() + DYING_AT_MOST_S
    while any(_lives(pid) for pid in own):
        assert time.monotonic() < give_up, "The browser outlives SIGKILL."
        time.sleep(0.05)


def _lives(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False

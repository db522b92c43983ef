"""The app as a server: in this process with a clock to set, or as a process to kill and freeze."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.support import Clock

# Where the processors are taken a start takes long, and so does the first answer.
START_SECONDS, ANSWER_SECONDS = 180.0, 20.0


class Served:
    """A WSGI app under the real server, in a thread, on a free loopback port."""

    def __init__(self, app: Any, make_server: Callable[..., Any]) -> None:
        self._server = make_server(app, host="127.0.0.1", port=0)
        self._server.prepare()
        self.netloc = f"127.0.0.1:{self._server.bind_addr[1]}"
        self.url = f"http://{self.netloc}"
        self._thread = threading.Thread(target=self._server.serve, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._server.stop()
        self._thread.join(10)
        if self._thread.is_alive():
            raise AssertionError("The server did not stop within ten seconds.")


class Live(Served):
    """pitapp served in this process: `url`, `data_dir`, `database` and a `clock` to set."""

    def __init__(self, data_dir: Path) -> None:
        from pitapp import create_app
        from pitapp.web.server import make_server

        self.data_dir = data_dir
        self.clock = Clock()
        self.app = create_app(data_dir, clock=self.clock)
        self.database: Path = self.app.extensions["pitapp.db"].path
        super().__init__(self.app, make_server)

    def slow_down(self, seconds: float = 1.0) -> None:
        """Let every answer to a write take so much longer on its way back."""
        from flask import request

        def wait(answer: Any) -> Any:
            if request.method == "POST":
                time.sleep(seconds)
            return answer

        self.app.after_request_funcs.setdefault(None, []).insert(0, wait)

    def stop(self) -> None:
        super().stop()
        self.app.extensions["pitapp.db"].close()


class ServerProcess:
    """`python -m pitapp serve` as a process of its own, always on the same port and data folder."""

    def __init__(
        self,
        data_dir: Path,
        command: tuple[str, ...] = ("-m", "pitapp", "serve"),
        port: int | None = None,
        scheme: str = "http",
    ) -> None:
        self.data_dir = data_dir
        self.port = port or free_port()
        self.netloc = f"127.0.0.1:{self.port}"
        self.url = f"{scheme}://{self.netloc}"
        self._command = (sys.executable, *command)
        self._log = data_dir.with_name(f"{data_dir.name}-server.log")
        self._process: subprocess.Popen[bytes] | None = None
        self.frozen = False

    def start(self) -> None:
        """Start the process and wait until it answers."""
        if self._process is not None:
            raise AssertionError("The server runs already.")
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [*self._command, "--port", str(self.port), "--data", str(self.data_dir)],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        give_up = time.monotonic() + START_SECONDS
        while not answers(self.url, ANSWER_SECONDS):
            if self._process.poll() is not None or time.monotonic() > give_up:
                self.kill()
                raise AssertionError(f"The server did not start:\n{self.log()}")
            time.sleep(0.05)

    def kill(self) -> None:
        """End it at once, as a crash or an empty battery does (SIGKILL)."""
        if self._process is None:
            return
        self._process.kill()
        self._process.wait(10)
        self._process = None
        self.frozen = False

    def freeze(self) -> None:
        """Let it hang: the port still accepts and nothing answers (SIGSTOP)."""
        os.kill(self._running().pid, signal.SIGSTOP)
        self.frozen = True

    def thaw(self) -> None:
        """Let a frozen server go on (SIGCONT)."""
        os.kill(self._running().pid, signal.SIGCONT)
        self.frozen = False

    @property
    def pid(self) -> int:
        """The number of the process."""
        return self._running().pid

    def log(self) -> str:
        """Return everything that the process has printed."""
        return self._log.read_text(errors="replace") if self._log.exists() else ""

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            raise AssertionError("The server does not run.")
        return self._process


class Stranger:
    """Another program at an address: it answers everything alike, and remembers what it was sent."""

    def __init__(self, port: int, status: int, location: str = "") -> None:
        self.sent: list[str] = []
        stranger = self

        class Answers(BaseHTTPRequestHandler):
            def answer(self) -> None:
                length = int(self.headers.get("Content-Length", 0))
                stranger.sent.append(f"{self.command} {self.path} {self.rfile.read(length)!r}")
                body = b"<!doctype html><title>Welcome</title><h1>Sign in to this network</h1>"
                self.send_response(status)
                if location:
                    self.send_header("Location", location)
                self.send_header("Content-Type", "text/html")
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            do_GET = do_POST = answer  # noqa: N815

            def log_message(self, format: str, *args: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Answers)
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()


def rows(server: Any, query: str) -> list[tuple[Any, ...]]:
    """What stands in the database of a server with a `data_dir`."""
    with closing(sqlite3.connect(server.data_dir / "pitapp.sqlite3")) as database:
        return database.execute(query).fetchall()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answers(url: str, seconds: float = 1.0) -> bool:
    """Tell whether anything speaks HTTP there within the time, whatever its certificate."""
    place = urlsplit(url)
    connection = HTTPConnection(place.hostname or "", place.port, timeout=seconds)
    if place.scheme == "https":
        anyone = ssl._create_unverified_context()
        connection = HTTPSConnection(
            place.hostname or "", place.port, timeout=seconds, context=anyone
        )
    try:
        connection.request("GET", "/")
        connection.getresponse().read()
    except (OSError, HTTPException):
        return False
    finally:
        connection.close()
    return True

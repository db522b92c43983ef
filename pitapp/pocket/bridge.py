"""The bridge to the browser: it hands over a request, the app answers it, nothing goes over a network.

Runs in the browser's Python (Pyodide, in a worker), one request after the other. The app believes
that it stands at the root of `http://localhost`; the addresses in its answers get the folder in
which it really stands. Cookies are kept here, since the browser takes none from a worker's answer.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterable
from contextlib import suppress
from http.cookies import SimpleCookie
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote_to_bytes

if TYPE_CHECKING:
    from flask import Flask

Headers = list[tuple[str, str]]
COOKIES = "browser-cookies.json"
# An own address in a page's markup, or in the data that its scripts read.
ADDRESS = re.compile(
    rb"""((?:\s(?:href|action|formaction|src|hx-get|hx-post|data-asks)=|"href": ?)["'])/(?!/)"""
)
# What a link so marked leads to is fetched past the service worker, where nobody answers; the answer
# itself says that it is a file.
DOWNLOAD = re.compile(rb"(<a\s[^>]*?) download(?=[\s>])")
FOR_A_FRAME = {"frame-ancestors 'none'": "frame-ancestors 'self'", "DENY": "SAMEORIGIN"}
NOT_FOR_THE_APP = {"cookie", "accept-encoding", "host", "referer", "connection"}


class Bridge:
    """The app and what the browser would remember for it."""

    def __init__(self, app: Flask, root: str) -> None:
        """`root` is the path under which the browser asks for the app, without a slash at its end."""
        self._app = app
        self._root = root
        self._cookie_file = Path(app.config["PITAPP_DATA_DIR"]) / COOKIES
        self._cookies: dict[str, str] = {}
        self._copied: Path | None = None
        with suppress(OSError, ValueError):  # not there yet, or cut off by a full device
            self._cookies = json.loads(self._cookie_file.read_text(encoding="utf-8"))

    def answer(
        self, method: str, target: str, headers: str, body: Any
    ) -> tuple[int, Headers, bytes]:
        """Return status, headers and body for a request.

        Args:
            target: the path beneath the root, with its query.
            headers: pairs of names and values, as JSON.
            body: bytes, or a buffer of them.
        """
        started: list[tuple[str, Headers]] = []

        def start(status: str, headers: Headers, _failure: Any = None) -> Any:
            started[:] = [(status, headers)]
            return lambda _: None

        answered = self._app.wsgi_app(
            self._environ(method, target, json.loads(headers), bytes(body)), start
        )
        try:
            content = b"".join(answered)
        finally:
            if hasattr(answered, "close"):
                answered.close()
        status, sent = started[0]
        self._remember(value for name, value in sent if name.lower() == "set-cookie")
        return int(status[:3]), self._outward(sent), self._placed(sent, content)

    def rest(self) -> None:
        """Make the copy of the day, which a server makes beside its requests: nobody waits meanwhile."""
        from pitapp.copies import daily

        self._copied = daily.copy_if_due(self._app)

    def give_up(self) -> None:
        """Delete the copy just made: the device has no room for it."""
        if self._copied:
            self._copied.unlink(missing_ok=True)

    def _environ(self, method: str, target: str, headers: Headers, body: bytes) -> dict[str, Any]:
        path, _, query = target.partition("?")
        environ: dict[str, Any] = {
            "REQUEST_METHOD": method,
            "SCRIPT_NAME": "",
            "PATH_INFO": unquote_to_bytes(path).decode("latin-1"),
            "QUERY_STRING": query,
            "SERVER_NAME": "localhost",
            "SERVER_PORT": "80",
            "SERVER_PROTOCOL": "HTTP/1.1",
            "REMOTE_ADDR": "127.0.0.1",
            "HTTP_HOST": "localhost",
            "HTTP_COOKIE": "; ".join(f"{name}={value}" for name, value in self._cookies.items()),
            "CONTENT_LENGTH": str(len(body)),
            "wsgi.version": (1, 0),
            "wsgi.url_scheme": "http",
            "wsgi.input": BytesIO(body),
            "wsgi.errors": _Errors(),
            "wsgi.multithread": False,
            "wsgi.multiprocess": False,
            "wsgi.run_once": False,
        }
        for name, value in headers:
            key = name.upper().replace("-", "_")
            if name.lower() == "content-type":
                environ["CONTENT_TYPE"] = value
            elif name.lower() not in NOT_FOR_THE_APP | {"content-length"}:
                environ[f"HTTP_{key}"] = value
        return environ

    def _remember(self, lines: Iterable[str]) -> None:
        before = dict(self._cookies)
        for line in lines:
            for name, cookie in SimpleCookie(line).items():
                if cookie["max-age"] == "0":
                    self._cookies.pop(name, None)
                else:
                    self._cookies[name] = cookie.coded_value
        if self._cookies != before:
            with suppress(OSError):  # a full device: what was not saved is said by the app
                self._cookie_file.write_text(json.dumps(self._cookies), encoding="utf-8")

    def _outward(self, headers: Headers) -> Headers:
        outward = []
        for name, value in headers:
            if name.lower() in {"set-cookie", "content-length"}:
                continue
            if name in ("Location", "Pitapp-Location") and value.startswith("/"):
                value = self._root + value
            for before, after in FOR_A_FRAME.items():
                value = value.replace(before, after) if before in value else value
            outward.append((name, value))
        return outward

    def _placed(self, headers: Headers, content: bytes) -> bytes:
        kind = next((value for name, value in headers if name.lower() == "content-type"), "")
        if not self._root or not kind.startswith("text/html"):
            return content
        content = DOWNLOAD.sub(rb"\1", content)
        return ADDRESS.sub(rb"\1" + self._root.encode() + b"/", content)


class _Errors:
    """Where the app's complaints go: to the browser's console."""

    def write(self, text: str) -> None:
        print(text, end="")

    def writelines(self, lines: Iterable[str]) -> None:
        for line in lines:
            self.write(line)

    def flush(self) -> None:
        """Nothing is held back."""


def start(folder: str, root: str, time_zone: str, address: str = "") -> Bridge:
    """Make the app over the data in `folder`, in the phone's own time zone (an IANA name).

    `address` is that of the page from which the browser opened it: what others open to come there.
    """
    prepare(time_zone)
    from pitapp import create_app
    from pitapp.copies.store import tidy

    app = create_app(folder)
    tidy(Path(folder))
    app.config.update(PITAPP_IN_BROWSER=True, PITAPP_FOLDER_ADDRESS=address)
    return Bridge(app, root)


def prepare(time_zone: str) -> None:
    """Give the browser's Python what the app expects of an operating system."""
    os.environ["TZ"] = time_zone
    if not hasattr(os, "link"):
        os.link = _no_link


def _no_link(*_: Any, **__: Any) -> None:
    raise OSError("no links in the browser's file system")

"""A phone of the pit crew: it is paired, opens pages, fills in the forms that they hold, and times it."""

from __future__ import annotations

import gzip
import re
import time
import uuid
from collections import Counter
from html.parser import HTMLParser
from http.client import HTTPConnection, HTTPResponse, HTTPSConnection, RemoteDisconnected
from ssl import SSLContext
from urllib.parse import urlencode, urlsplit


class Form(HTMLParser):
    """The fields of a page's form to an address, as a browser would send them untouched."""

    def __init__(self, html: str, address: str) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self.action = ""
        self._address, self._select, self._text = re.compile(address), "", ""
        self.feed(html)

    @property
    def found(self) -> bool:
        return bool(self.action)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        name, value = given.get("name", ""), given.get("value", "")
        if tag == "form":
            meant = given.get("method") == "post" and self._address.fullmatch(given["action"])
            self._inside = bool(meant) and not self.found
            self.action = given["action"] if self._inside else self.action
        if not getattr(self, "_inside", False):
            return
        if tag == "input" and (
            given.get("type") not in ("checkbox", "radio", "file") or "checked" in given
        ):
            self.fields[name] = value
        elif tag == "select":
            self._select = name
        elif tag == "option" and ("selected" in given or self._select not in self.fields):
            self.fields[self._select] = value
        elif tag == "textarea":
            self._text = name
            self.fields[name] = ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._inside = False
        elif tag == "textarea":
            self._text = ""

    def handle_data(self, data: str) -> None:
        if self._text:
            self.fields[self._text] += data.strip()


class Phone:
    """A browser with cookies on one kept connection, which times each answer.

    Over TLS with a context; from an address of its own, if one is given.
    """

    def __init__(
        self,
        host: str,
        port: int,
        name: str,
        tls: SSLContext | None = None,
        own: str = "",
    ) -> None:
        self.name, self.page = name, ""
        self.times_s: list[float] = []
        self.by_path: dict[str, list[float]] = {}
        self.answers: Counter[int] = Counter()
        place = (own, 0) if own else None
        self._connection = (
            HTTPSConnection(host, port, timeout=60, context=tls, source_address=place)
            if tls
            else HTTPConnection(host, port, timeout=60, source_address=place)
        )
        self._more = {"Referer": f"https://{host}:{port}/"} if tls else {}
        self.cookies: dict[str, str] = {}

    def pair(self, code: str) -> None:
        """Come in by the code that the server's own machine shows."""
        form = Form(self.get("/pair"), "/pair")
        status, _ = self._send("POST", "/pair", form.fields | {"code": code, "name": self.name})
        if status != 303:
            raise AssertionError(f"{self.name} was not let in: {status}")

    def get(self, path: str) -> str:
        """Open a page, wherever it leads."""
        status, answer = self._send("GET", path)
        if status in (302, 303):
            return self.get(answer)
        self.page = answer
        return answer

    def status(self, path: str) -> int:
        """What a page is answered with."""
        return self._send("GET", path)[0]

    def send(self, form: Form, **typed: str) -> str | None:
        """Send a form with what was typed, and open what comes next; its key if it was confirmed."""
        key = str(uuid.uuid4())
        fields = form.fields | {name: value.replace("{key}", key) for name, value in typed.items()}
        status, answer = self._send("POST", form.action, fields, key)
        if status != 303:
            return None
        self.get(answer)
        return key

    def close(self) -> None:
        """Close the connection; the next request opens another."""
        self._connection.close()

    def _send(
        self, method: str, path: str, fields: dict[str, str] | None = None, key: str = ""
    ) -> tuple[int, str]:
        headers = {
            "Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items()),
            "Accept-Encoding": "gzip",
        } | self._more
        if key:
            headers["Idempotency-Key"] = key
        if fields is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        begun = time.perf_counter()
        try:
            answer = self._ask(method, path, fields, headers)
        except (RemoteDisconnected, ConnectionResetError, BrokenPipeError):
            self._connection.close()  # a kept connection that was closed meanwhile: once more
            answer = self._ask(method, path, fields, headers)
        body = answer.read()
        taken = time.perf_counter() - begun
        self.times_s.append(taken)
        kind = f"{method} {re.sub(r'[0-9a-f]{8}-[-0-9a-f]*|[0-9]+', 'N', path.partition('?')[0])}"
        self.by_path.setdefault(kind, []).append(taken)
        self.answers[answer.status] += 1
        for name, value in answer.getheaders():
            if name.lower() == "set-cookie":
                cookie, _, content = value.partition(";")[0].partition("=")
                self.cookies[cookie] = content
        if answer.status in (302, 303):
            place = urlsplit(answer.getheader("Location") or "/")
            return answer.status, place.path + (f"?{place.query}" if place.query else "")
        if answer.getheader("Content-Encoding") == "gzip":
            body = gzip.decompress(body)
        return answer.status, body.decode()

    def _ask(
        self, method: str, path: str, fields: dict[str, str] | None, headers: dict[str, str]
    ) -> HTTPResponse:
        self._connection.request(method, path, urlencode(fields or {}) or None, headers)
        return self._connection.getresponse()

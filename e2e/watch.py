"""Watches pages: nothing may be fetched from another host, and nothing may go wrong unseen."""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, ConsoleMessage, Request, Response, WebError

POLICY = re.compile(r"Content.Security.Policy")
NETWORK_SCHEMES = {"http", "https", "ws", "wss"}


class Watch:
    """Every request and every fault of the contexts that were handed to `over`."""

    def __init__(self) -> None:
        self.servers: set[str] = set()
        self.requests: list[str] = []
        self.faults: list[str] = []
        self._allowed: list[re.Pattern[str]] = []

    def over(self, context: BrowserContext) -> None:
        """Watch this context and all its pages and workers."""
        context.on("request", self._on_request)
        context.on("response", self._on_response)
        context.on("console", self._on_console)
        context.on("weberror", self._on_error)

    def allow(self, *patterns: str) -> None:
        """Accept faults that a test brings about on purpose, for example `status of 422`."""
        self._allowed += [re.compile(pattern) for pattern in patterns]

    def foreign(self) -> list[str]:
        """Return the requests that went to any host other than the servers of the test."""
        return [url for url in self.requests if is_foreign(url, self.servers)]

    def unexpected(self) -> list[str]:
        """Return console errors, policy violations and uncaught errors that were not allowed."""
        return [
            fault
            for fault in self.faults
            if not any(pattern.search(fault) for pattern in self._allowed)
        ]

    def verify(self) -> None:
        """Fail on any foreign request and on any unexpected fault."""
        foreign, unexpected = self.foreign(), self.unexpected()
        assert not foreign, "Requests to other hosts:\n" + "\n".join(foreign)
        assert not unexpected, "Faults on the page:\n" + "\n".join(unexpected)

    def _on_request(self, request: Request) -> None:
        self.requests.append(request.url)

    def _on_response(self, response: Response) -> None:
        if response.status >= 400:
            self.faults.append(f"answered with a status of {response.status}: {response.url}")

    def _on_console(self, message: ConsoleMessage) -> None:
        if message.type == "error" or POLICY.search(message.text):
            place = message.location.get("url", "")
            self.faults.append(f"console {message.type}: {message.text} ({place})")

    def _on_error(self, error: WebError) -> None:
        thrown = error.error
        self.faults.append(f"uncaught: {getattr(thrown, 'name', '')}: {thrown}")


def is_foreign(url: str, servers: Iterable[str]) -> bool:
    """Tell whether the request leaves for a host and port that is none of the servers."""
    place = urlsplit(url)
    return place.scheme in NETWORK_SCHEMES and place.netloc not in set(servers)

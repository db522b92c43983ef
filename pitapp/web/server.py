"""The production server: cheroot, with room for TLS."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from cheroot import wsgi

if TYPE_CHECKING:
    from flask import Flask

    from pitapp.devices.authority import Papers

THREADS = 8
KEPT_CONNECTIONS = 100
"""Phones whose connection stays open between requests, so that none greets (over TLS, at length) anew."""


def make_server(
    app: Flask, host: str = "127.0.0.1", port: int = 0, papers: Papers | None = None
) -> wsgi.Server:
    """A server for `app`, not started: call `prepare()` then `serve()`, or `start()` for both.

    With port 0 the system chooses one; `bind_addr` tells it after `prepare()`.
    """
    server = wsgi.Server(
        (host, port), app, numthreads=THREADS, server_name="pitapp", request_queue_size=64
    )
    server.keep_alive_conn_limit = KEPT_CONNECTIONS
    if papers is not None:
        from cheroot.ssl.builtin import BuiltinSSLAdapter

        server.ssl_adapter = BuiltinSSLAdapter(str(papers.certificate), str(papers.key))
        server.error_log = _without_broken_lines(server.error_log)  # type: ignore[method-assign]
    return server


def _without_broken_lines(log: Callable[..., None]) -> Callable[..., None]:
    """A log that says nothing of a phone that walked out of reach in the middle of an answer."""

    def quieter(*said: Any, **how: Any) -> None:
        if not isinstance(sys.exc_info()[1], OSError):
            log(*said, **how)

    return quieter

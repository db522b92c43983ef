"""The server: one thread that holds every connection, and a few that run the app.

A connection gets one of the latter only when its whole request is there, and never waits in it for
the network: a stranger who sends or reads slowly, or not at all, costs a place and no thread.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitapp.web.server.bounds import Bounds
from pitapp.web.server.serving import Server

if TYPE_CHECKING:
    from pitapp.devices.authority import TlsFiles

__all__ = ["Bounds", "Server", "make_server"]


def make_server(
    app: Any,
    host: str = "127.0.0.1",
    port: int = 0,
    papers: TlsFiles | None = None,
    bounds: Bounds | None = None,
) -> Server:
    """A server for the WSGI app, not started: call `prepare()` then `serve()`, or `start()` for both.

    With port 0 the system chooses one; `bind_addr` tells it after `prepare()`. With papers it speaks
    TLS 1.2 and 1.3 only.
    """
    context = None if papers is None else _tls(papers.certificate, papers.key)
    return Server(app, (host, port), context, bounds or Bounds())


def _tls(certificate: Path, key: Path) -> Any:
    import ssl

    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(certificate, key)
    context.set_alpn_protocols(["http/1.1"])
    return context

"""The server: one thread that holds every connection, and a few that run the app.

A connection gets one of the latter only when its whole request is there, and never waits in it for
the network: a stranger who sends or reads slowly, or not at all, costs a place and no thread.

`web/server/`: one thread (`serving.py`) holds every connection and waits for all of them at once;
eight threads (`workers.py`) run the app. A connection is given to one of those when its whole
request is there, and comes back with the whole answer; it never waits for the network in it. The
handshake of TLS goes on in the first thread as its bytes come in. `connection.py` says what a
connection is about and until when that may take; `bounds.py` has the figures. An address that has
shown no valid device cookie for ten minutes is a stranger (this machine is none; the server asks
`extensions["pitapp.vouch"]`): it holds few connections, sends small bodies, never has all threads,
and goes first where room is needed; of strangers, whoever has asked least of late is answered
first. A test may set `make_server(app, bounds=Bounds(…))`.

Why a server of our own, on h11: cheroot, which it replaced, gives a connection to a thread before a
byte of it is there, greets in the loop that accepts, and has no time limit for a whole request. To
change that, its connection manager, its connections and its reading of requests would have had to
be written anew over its private parts, about 900 of the 1150 lines that there are now. waitress
does hold connections in one thread, but speaks no TLS and stops accepting when its places are
taken. h11 reads and writes HTTP/1.1 (RFC 9112) without touching a socket, is pure Python and needs
nothing else, so that it installs on a phone; with it 2600 lines are installed where cheroot and
what it needs were 13 300.
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

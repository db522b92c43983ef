"""A built folder on a port of its own beside the server, so that it shares no storage with the server's pages."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from werkzeug.exceptions import MethodNotAllowed
from werkzeug.utils import send_from_directory
from werkzeug.wrappers import Request, Response

from pitapp.errors import DataError
from pitapp.pocket import MARK, OFFERED_AT

if TYPE_CHECKING:
    from flask import Flask

    from pitapp.devices.authority import TlsFiles

AWAY = 10  # from the server's port to the folder's
PORTS = 65536
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-cache",
}


def static_site(folder: Path) -> Any:
    """A WSGI app that gives the folder's files out.

    Raises:
        DataError: the folder was not made by `pitapp pocket`.
    """
    if not (folder / MARK).is_file():
        raise DataError(f"{folder} is no folder for phones. Make one first: pitapp pocket {folder}")
    top = folder.resolve()

    @Request.application
    def answer(request: Request) -> Response:
        if request.method not in ("GET", "HEAD"):
            raise MethodNotAllowed(("GET", "HEAD"))
        name = request.path.lstrip("/") or "index.html"
        response = send_from_directory(top, name, request.environ)
        response.headers.update(HEADERS)
        if name.endswith(".gz"):  # unpacked by the page, which checks the sum of what was sent
            response.headers.pop("Content-Encoding", None)
            response.mimetype = "application/gzip"
        return response

    return answer


@contextmanager
def offered(
    app: Flask, folder: Path, host: str, beside: int, papers: TlsFiles | None
) -> Iterator[int]:
    """Serve the folder while this lasts, let the app know the port, and yield it.

    The port goes by the server's own, `beside`, since what a phone keeps hangs on the address; a
    free one where the server itself takes a free one (0).

    Raises:
        DataError: the folder was not made by `pitapp pocket`, or the port is taken.
    """
    from pitapp.web.server import make_server

    port = beside and (beside + AWAY if beside + AWAY < PORTS else beside - AWAY)
    server = make_server(static_site(folder), host, port, papers)
    try:
        server.prepare()
    except OSError as error:
        raise DataError(
            f"The folder for phones cannot be offered on port {port}: {error}. Its address must "
            "stay the same, since what a phone keeps hangs on it: end what uses that port."
        ) from error
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    port = server.bind_addr[1]
    app.extensions[OFFERED_AT] = port
    try:
        yield port
    finally:
        server.stop()

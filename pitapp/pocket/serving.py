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
from pitapp.pocket import MARK

if TYPE_CHECKING:
    from flask import Flask

    from pitapp.devices.authority import TlsFiles

PORT = "pitapp.pocket"
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
        return response

    return answer


@contextmanager
def offered(app: Flask, folder: Path, host: str, papers: TlsFiles | None) -> Iterator[int]:
    """Serve the folder on a free port while this lasts, let the app know it, and yield it."""
    from pitapp.web.server import make_server

    server = make_server(static_site(folder), host, 0, papers)
    server.prepare()
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    port: int = server.bind_addr[1]
    app.extensions[PORT] = port
    try:
        yield port
    finally:
        server.stop()

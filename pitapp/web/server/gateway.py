"""Calling the WSGI app (PEP 3333) with a whole request, and taking its whole answer."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from email.utils import formatdate
from http import HTTPStatus
from typing import IO, Any, NamedTuple
from urllib.parse import unquote_to_bytes

NAME = "pitapp"
Headers = list[tuple[bytes, bytes]]


class Request(NamedTuple):
    """A request whose headers are there, with as much of its body as was taken."""

    method: str
    target: str
    version: str
    headers: list[tuple[str, str]]
    body: IO[bytes]
    body_bytes: int
    unread: bool = False
    """The body is larger than may be sent from there and was left unread."""


class Place(NamedTuple):
    """Where a request came in and from where."""

    scheme: str
    port: int
    address: str
    from_port: int


class Answer(NamedTuple):
    """An answer of the app: `pieces` to send, and after them what is in `file`."""

    status: int
    reason: bytes
    headers: Headers
    pieces: list[bytes]
    file: FileToSend | None = None


class FileToSend:
    """An open file as the body of an answer (PEP 3333's `wsgi.file_wrapper`)."""

    def __init__(self, file: IO[bytes], block_size: int = 64 * 1024) -> None:
        self._file, self._block_size = file, block_size

    def __iter__(self) -> Iterator[bytes]:
        while block := self.read():
            yield block

    def read(self) -> bytes:
        """The next block."""
        return self._file.read(self._block_size)

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def environment(request: Request, place: Place) -> dict[str, Any]:
    """The request's WSGI environment (PEP 3333).

    A header with an underscore is left out: in the environment it could pass for another one.
    """
    path, _, query = request.target.partition("?")
    environ: dict[str, Any] = {
        "REQUEST_METHOD": request.method,
        "SCRIPT_NAME": "",
        "PATH_INFO": unquote_to_bytes(path.encode("latin-1")).decode("latin-1"),
        "QUERY_STRING": query,
        "REQUEST_URI": request.target,
        "SERVER_PROTOCOL": f"HTTP/{request.version}",
        "SERVER_NAME": NAME,
        "SERVER_PORT": str(place.port),
        "REMOTE_ADDR": place.address,
        "REMOTE_PORT": str(place.from_port),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": place.scheme,
        "wsgi.input": request.body,
        "wsgi.input_terminated": True,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": False,
        "wsgi.run_once": False,
        "wsgi.file_wrapper": FileToSend,
    }
    for name, value in request.headers:
        if "_" in name or name in ("content-length", "transfer-encoding"):
            continue
        key = "CONTENT_TYPE" if name == "content-type" else f"HTTP_{name.upper().replace('-', '_')}"
        if key in environ:
            value = f"{environ[key]}{'; ' if name == 'cookie' else ', '}{value}"
        environ[key] = value
    if request.body_bytes or request.method in ("POST", "PUT", "PATCH"):
        environ["CONTENT_LENGTH"] = str(request.body_bytes)
    return environ


def respond(app: Callable[..., Iterable[bytes]], environ: dict[str, Any]) -> Answer:
    """What the app answers; its body is taken whole, but for a file."""
    pieces: list[bytes] = []
    started: list[tuple[str, list[tuple[str, str]]]] = []

    def start(status: str, headers: list[tuple[str, str]], _failure: Any = None) -> Any:
        started.append((status, headers))
        return pieces.append

    result, bare = app(environ, start), environ["REQUEST_METHOD"] == "HEAD"
    if isinstance(result, FileToSend) and not bare:
        return _answer(started[-1], pieces, result)
    try:
        pieces.extend(piece for piece in result if piece and not bare)
    finally:
        if (close := getattr(result, "close", None)) is not None:
            close()
    status, _ = started[-1]
    sized = not bare and not status.startswith(("204", "304"))
    return _answer(started[-1], pieces, None, sized=sized)


def _answer(
    started: tuple[str, list[tuple[str, str]]],
    pieces: list[bytes],
    file: FileToSend | None,
    *,
    sized: bool = False,
) -> Answer:
    status, headers = started
    code, _, reason = status.partition(" ")
    encoded = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in headers]
    named = {name.lower() for name, _ in headers}
    if sized and "content-length" not in named:
        encoded.append((b"Content-Length", str(sum(map(len, pieces))).encode()))
    if "date" not in named:
        encoded.append((b"Date", formatdate(usegmt=True).encode()))
    if "server" not in named:
        encoded.append((b"Server", NAME.encode()))
    return Answer(int(code), reason.encode("latin-1"), encoded, pieces, file)


def in_short(status: int) -> Answer:
    """An answer of the server's own: the name of the status as plain text."""
    phrase = HTTPStatus(status).phrase.encode()
    headers = [
        (b"Content-Type", b"text/plain"),
        (b"Content-Length", str(len(phrase)).encode()),
        (b"Cache-Control", b"no-store"),
        (b"X-Content-Type-Options", b"nosniff"),
        (b"Date", formatdate(usegmt=True).encode()),
    ]
    return Answer(status, phrase, headers, [phrase])

"""The server over TLS: nobody waits for another's handshake, and all that holds without TLS holds."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from hashlib import sha256
from http.client import HTTPConnection, HTTPSConnection
from pathlib import Path
from typing import Any

import pytest

from pitapp.devices import authority
from pitapp.web.server import Bounds, Server, make_server
from tests.strangers import client_hello, unchecked

LARGE = b"0123456789" * 500_000


def app(environ: dict[str, Any], start: Callable[..., Any]) -> list[bytes]:
    """Gives the digest of what is sent, or a large answer."""
    start("200 OK", [])
    body = environ["wsgi.input"].read()
    return [sha256(body).hexdigest().encode() if body else LARGE]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    papers = authority.tls_files(tmp_path, ())
    server = make_server(app, papers=papers, bounds=Bounds(handshake_s=1.0))
    server.prepare()
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    yield server
    server.stop()
    thread.join(20)


def connected(server: Server) -> HTTPSConnection:
    return HTTPSConnection(*server.bind_addr, timeout=30, context=unchecked())


def test_large_bodies_go_both_ways_over_one_connection(server: Server) -> None:
    with closing(connected(server)) as connection:
        for _ in range(2):
            connection.request("POST", "/", LARGE)
            assert connection.getresponse().read() == sha256(LARGE).hexdigest().encode()
            connection.request("GET", "/")
            assert connection.getresponse().read() == LARGE


def test_an_end_is_told_as_tls_wants_it(server: Server) -> None:
    with (
        socket.create_connection(server.bind_addr, 30) as raw,
        unchecked().wrap_socket(raw, suppress_ragged_eofs=False) as line,
    ):
        line.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        read = 0
        while more := line.recv(65536):
            read += len(more)
        assert read > len(LARGE)


@pytest.mark.parametrize(
    "said",
    [b"", client_hello()[:40], client_hello(), b"\x16\x03\x01nonsense"],
    ids=["nothing", "part of a hello", "a hello", "nonsense"],
)
def test_a_handshake_that_does_not_go_on_is_given_up_and_holds_up_nobody(
    server: Server, said: bytes
) -> None:
    lines = [socket.create_connection(server.bind_addr, 30) for _ in range(20)]
    for line in lines:
        line.sendall(said)
    with closing(connected(server)) as connection:
        connection.request("POST", "/", b"abc")
        assert connection.getresponse().status == 200
    for line in lines:
        try:
            while line.recv(65536):
                pass
        except ConnectionResetError:
            pass
        line.close()


def test_who_speaks_without_tls_is_told(server: Server) -> None:
    with closing(HTTPConnection(*server.bind_addr, timeout=30)) as connection:
        connection.request("GET", "/")
        answer = connection.getresponse()
        assert answer.status == 400
        assert b"https" in answer.read()

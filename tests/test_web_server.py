"""The server by itself: what HTTP/1.1 (RFC 9112) asks of it, and what nobody may do to the others."""

from __future__ import annotations

import select
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest

from pitapp.web.server import Bounds, Server, make_server, visitors

HERE, AFAR = "127.0.0.1", "127.0.0.2"
LARGE = 20_000_000
GET = b"GET %b HTTP/1.1\r\nHost: localhost\r\n\r\n"
POST = b"POST /size HTTP/1.1\r\nHost: localhost\r\nContent-Length: %d\r\n\r\n"


class Small:
    """A small app; `held` says how many requests for /held are in it, `go_on` lets them go."""

    def __init__(self, file: Path) -> None:
        self.extensions = {"pitapp.vouch": lambda environ: environ.get("HTTP_COOKIE") == "known"}
        self.file = file
        self.held = threading.Semaphore(0)
        self.go_on = threading.Event()

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Any:
        path = environ["PATH_INFO"]
        if path == "/fails":
            raise RuntimeError("on purpose")
        if path == "/held":
            self.held.release()
            self.go_on.wait(30)
        start("204 No Content" if path == "/nothing" else "200 OK", [])
        if path == "/large":
            return [b"x" * LARGE]
        if path == "/file":
            return environ["wsgi.file_wrapper"](self.file.open("rb"))
        if path == "/size":
            body = environ["wsgi.input"].read()
            return [f"{len(body)} of {environ['CONTENT_LENGTH']}".encode()]
        return [] if path == "/nothing" else [path.encode("latin-1")]


Serve = Callable[..., Server]


@pytest.fixture
def small(tmp_path: Path) -> Small:
    file = tmp_path / "file"
    file.write_bytes(bytes(range(256)) * 1000)
    return Small(file)


@pytest.fixture
def serve(small: Small, monkeypatch: pytest.MonkeyPatch) -> Iterator[Serve]:
    """Serve the small app within given bounds; every address but 127.0.0.1 is a stranger's."""
    monkeypatch.setattr(visitors, "is_this_machine", lambda address: address == HERE)
    running: list[tuple[Server, threading.Thread]] = []

    def start(**bounds: Any) -> Server:
        server = make_server(small, bounds=Bounds(**bounds))
        server.prepare()
        thread = threading.Thread(target=server.serve, daemon=True)
        thread.start()
        running.append((server, thread))
        return server

    yield start
    small.go_on.set()
    for server, thread in running:
        server.stop()
        thread.join(20)
        assert not thread.is_alive()


def line_to(server: Server, address: str = HERE) -> socket.socket:
    return socket.create_connection(server.bind_addr, 30, (address, 0))


def asked(server: Server, path: str = "/page", address: str = HERE, **headers: str) -> bytes:
    """The body of the answer to a request over a connection of its own."""
    connection = HTTPConnection(*server.bind_addr, timeout=30, source_address=(address, 0))
    with closing(connection):
        connection.request("GET", path, headers=headers)
        return connection.getresponse().read()


def answered(line: socket.socket) -> bytes:
    """All that comes until the other side ends."""
    said = b""
    try:
        while more := line.recv(65536):
            said += more
    except ConnectionResetError:
        pass
    return said


def test_a_connection_is_kept_and_what_is_asked_ahead_is_answered_in_order(serve: Serve) -> None:
    server = serve()
    with line_to(server) as line:
        line.sendall(GET % b"/one" + GET % b"/two")
        line.sendall(GET % b"/three")
        line.shutdown(socket.SHUT_WR)
        said = answered(line)
    assert said.count(b"HTTP/1.1 200 OK") == 3
    assert said.find(b"/one") < said.find(b"/two") < said.find(b"/three")


def test_answers_without_a_body_leave_the_connection_in_order(serve: Serve) -> None:
    server = serve()
    connection = HTTPConnection(*server.bind_addr, timeout=30)
    for method, path, body in (
        ("HEAD", "/page", b""),
        ("GET", "/nothing", b""),
        ("HEAD", "/file", b""),
        ("GET", "/page", b"/page"),
    ):
        connection.request(method, path)
        assert connection.getresponse().read() == body
    connection.close()


def test_a_path_is_told_as_wsgi_wants_it(serve: Serve) -> None:
    assert asked(serve(), "/k%C3%BChl%20b?x=%20") == "/kühl b".encode()


def test_a_body_in_chunks_is_put_together(serve: Serve) -> None:
    connection = HTTPConnection(*serve().bind_addr, timeout=30)
    connection.request("POST", "/size", iter([b"abc", b"de" * 100_000]), encode_chunked=True)
    assert connection.getresponse().read() == b"200003 of 200003"
    connection.close()


def test_a_body_is_asked_for_where_the_other_side_waits_for_it(serve: Serve) -> None:
    with line_to(serve()) as line:
        line.sendall((POST % 3).replace(b"\r\n\r\n", b"\r\nExpect: 100-continue\r\n\r\n"))
        assert line.recv(100).startswith(b"HTTP/1.1 100 ")
        line.sendall(b"abc")
        assert b"3 of 3" in line.recv(1000)


def test_a_file_is_sent_as_it_is(serve: Serve, small: Small) -> None:
    assert asked(serve(), "/file") == small.file.read_bytes()


def test_who_has_said_all_gets_the_answer(serve: Serve) -> None:
    with line_to(serve()) as line:
        line.sendall(GET % b"/large")
        line.shutdown(socket.SHUT_WR)
        assert len(answered(line)) > LARGE


def test_connections_that_are_torn_off_leave_the_others(serve: Serve) -> None:
    server = serve(threads=2)
    for said in (b"", b"GET /la", GET % b"/large", POST % 1000 + b"half"):
        for _ in range(5):
            with line_to(server) as line:
                line.sendall(said)
                line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    assert asked(server) == b"/page"


def test_a_failure_is_logged_and_the_next_is_served(
    serve: Serve, capfd: pytest.CaptureFixture[str]
) -> None:
    server = serve()
    assert asked(server, "/fails") == b"Internal Server Error"
    assert "on purpose" in capfd.readouterr().err
    assert asked(server) == b"/page"


@pytest.mark.parametrize(
    "said",
    [b"nonsense\r\n\r\n", b"GET http://localhost/ HTTP/1.1\r\nHost: a\r\n\r\n",
     b"GET / HTTP/1.1\r\n\r\n", POST.replace(b"%d", b"-1"), POST.replace(b"%d", b"1e3")],
)  # fmt: skip
def test_what_is_not_understood_is_refused_in_short(
    serve: Serve, said: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    with line_to(serve()) as line:
        line.sendall(said)
        assert answered(line).startswith(b"HTTP/1.1 400 Bad Request")
    assert capfd.readouterr().err == ""


def test_a_body_that_comes_slowly_holds_no_thread_and_is_given_up(serve: Serve) -> None:
    server = serve(threads=1, grace_s=1.0, least_rate=1e9)
    with line_to(server) as line:
        line.sendall(POST % 1000 + b"x")
        assert asked(server) == b"/page"
        assert answered(line).startswith(b"HTTP/1.1 408 ")


def test_a_body_that_comes_steadily_may_take_its_time(serve: Serve) -> None:
    grace_s, pieces = 0.5, 0
    with line_to(serve(grace_s=grace_s, least_rate=1.0)) as line:
        begun = time.monotonic()
        line.sendall(POST % LARGE)
        while time.monotonic() < begun + 4 * grace_s:
            line.sendall(b"x" * 500)
            pieces += 1
            time.sleep(0.02)
        line.sendall(b"x" * (LARGE - 500 * pieces))
        assert b"20000000 of 20000000" in line.recv(1000)


@pytest.mark.parametrize("path", [b"/large", b"/file"])
def test_who_does_not_read_holds_no_thread_and_is_given_up(
    serve: Serve, small: Small, path: bytes
) -> None:
    small.file.write_bytes(b"x" * LARGE)
    server = serve(threads=1, grace_s=1.0, least_rate=1e9)
    with line_to(server) as line:
        line.sendall(GET % path)
        assert line.recv(10) == b"HTTP/1.1 2"
        assert asked(server) == b"/page"
        given_up = select.poll()
        given_up.register(line, 0)
        assert given_up.poll(30_000)
        assert len(answered(line)) < LARGE


def test_who_says_nothing_or_half_is_given_up(serve: Serve) -> None:
    server = serve(first_s=0.5, header_s=0.5)
    with line_to(server) as silent, line_to(server) as half:
        half.sendall(b"GET / HTTP/1.1\r\n")
        assert answered(silent) == b""
        assert answered(half).startswith(b"HTTP/1.1 408 ")


def test_a_stranger_holds_few_connections_and_the_oldest_goes_first(serve: Serve) -> None:
    server = serve(stranger_connections=3)
    lines = [line_to(server, AFAR) for _ in range(5)]
    assert [answered(line) for line in lines[:2]] == [b"", b""]
    lines[2].sendall(GET % b"/page")
    assert lines[2].recv(15) == b"HTTP/1.1 200 OK"
    here = [line_to(server) for _ in range(5)]
    here[0].sendall(GET % b"/page")
    assert here[0].recv(15) == b"HTTP/1.1 200 OK"
    for line in lines + here:
        line.close()


def test_many_at_once_from_behind_one_address_are_all_answered(serve: Serve) -> None:
    server = serve(stranger_connections=3)
    at_once, pages = threading.Barrier(30), []

    def ask() -> None:
        at_once.wait()
        pages.append(asked(server, address=AFAR))

    threads = [threading.Thread(target=ask) for _ in range(30)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert pages == [b"/page"] * 30


def test_where_there_is_no_more_room_a_silent_one_goes(serve: Serve) -> None:
    server = serve(connections=6)
    with line_to(server) as kept, line_to(server, AFAR) as stranger:
        kept.sendall(GET % b"/page")
        assert kept.recv(15) == b"HTTP/1.1 200 OK"
        silent = [line_to(server) for _ in range(20)]
        assert answered(stranger) == b""
        assert answered(silent[0]) == b""
        assert asked(server) == b"/page"
        kept.sendall(GET % b"/again")
        received = b""
        while b"/again" not in received:
            more = kept.recv(1000)
            assert more, received
            received += more
        for line in silent:
            line.close()


def test_strangers_never_take_every_thread(serve: Serve, small: Small) -> None:
    server = serve(threads=3, stranger_threads=2)
    strangers = [line_to(server, AFAR) for _ in range(6)]
    for line in strangers:
        line.sendall(GET % b"/held")
    assert small.held.acquire(timeout=20)
    assert small.held.acquire(timeout=20)
    assert asked(server) == b"/page"
    assert asked(server, address="127.0.0.3", Cookie="known") == b"/page"
    small.go_on.set()
    for line in strangers:
        assert line.recv(15) == b"HTTP/1.1 200 OK"
        line.close()


def test_a_large_body_is_taken_from_those_who_are_known(serve: Serve) -> None:
    server, body = serve(stranger_body_bytes=1000), b"x" * 5000
    connection = HTTPConnection(*server.bind_addr, timeout=30, source_address=(AFAR, 0))
    connection.request("POST", "/size", body)
    assert connection.getresponse().read() == b"0 of 5000", "the app is told, and reads nothing"
    connection.close()
    connection.request("POST", "/size", iter([body]), encode_chunked=True)
    assert connection.getresponse().status == 413
    connection.close()
    connection.request("POST", "/size", iter([body]), {"Cookie": "known"}, encode_chunked=True)
    assert connection.getresponse().read() == b"5000 of 5000"
    connection.request("POST", "/size", body)
    assert connection.getresponse().read() == b"5000 of 5000"
    connection.close()


def test_a_request_under_way_is_answered_when_the_server_stops(serve: Serve, small: Small) -> None:
    server = serve()
    with line_to(server) as line, line_to(server) as idle:
        line.sendall(GET % b"/held")
        assert small.held.acquire(timeout=20)
        stopping = threading.Thread(target=server.stop)
        stopping.start()
        assert answered(idle) == b""
        small.go_on.set()
        assert answered(line).startswith(b"HTTP/1.1 200 OK")
        stopping.join(20)
    with pytest.raises(ConnectionRefusedError):
        line_to(server)


def test_a_server_whose_requests_do_not_end_stops_all_the_same(serve: Serve, small: Small) -> None:
    server = serve(stop_s=0.5)
    with line_to(server) as line:
        line.sendall(GET % b"/held")
        assert small.held.acquire(timeout=20)
        server.stop()
        assert not small.go_on.is_set()

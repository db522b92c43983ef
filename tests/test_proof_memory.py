"""What is sent to use up the memory: refused, and the peak of the server's process grows by little."""

from __future__ import annotations

import json
import re
import socket
import sqlite3
import ssl
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from e2e.server import ServerProcess, answers
from pitapp import create_app
from pitapp.demo import fill
from pitapp.devices.addresses import own_addresses
from pitapp.exchange import document
from tests.soak.phone import Phone
from tests.strangers import unchecked
from tests.support import RACE_MORNING, Clock

MOST_MIB = 100.0
MIB = 1024 * 1024
LARGE = 60 * MIB
HUGE = 300 * MIB
HERE = "127.0.0.1"
START = b"GET / HTTP/1.1\r\nHost: localhost\r\n"
POST = b"POST /kit/gears HTTP/1.1\r\nHost: localhost\r\n"
CHUNKED = POST + b"Transfer-Encoding: chunked\r\n\r\n"
TOO_LARGE = (b"413", b"431")


@contextmanager
def served(folder: Path, *, share: bool = False, https: bool = False) -> Iterator[ServerProcess]:
    create_app(folder).extensions["pitapp.db"].close()
    more = [*(["--share"] if share else []), *(["--https"] if https else [])]
    server = ServerProcess(folder, ("-m", "pitapp", "serve", *more))
    server.start()
    phone = Phone(HERE, server.port, "Test phone", unchecked() if https else None)
    for path in ("/", "/exchange", "/copies", "/kit/gears"):
        phone.get(path)
    phone.close()
    try:
        yield server
    finally:
        server.kill()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServerProcess]:
    with served(tmp_path_factory.mktemp("memory") / "data") as server:
        yield server


def status_mib(server: ServerProcess, what: str) -> float:
    found = re.search(rf"{what}:\s+(\d+)", Path(f"/proc/{server.pid}/status").read_text())
    assert found is not None
    return int(found[1]) / 1024


@contextmanager
def little_is_held(server: ServerProcess) -> Iterator[None]:
    """Meanwhile the process holds at most so much more in memory than before (resident, Linux)."""
    Path(f"/proc/{server.pid}/clear_refs").write_text("5")
    before = status_mib(server, "VmRSS")
    yield
    assert status_mib(server, "VmHWM") - before <= MOST_MIB
    assert "Traceback" not in server.log()


def sent(
    server: ServerProcess,
    *pieces: bytes | tuple[bytes, int],
    host: str = HERE,
    tls: ssl.SSLContext | None = None,
) -> bytes:
    """What is answered to the pieces, each sent once or so many times, until nobody listens."""
    plain = socket.create_connection((host, server.port), timeout=300)
    with plain if tls is None else tls.wrap_socket(plain) as line:
        said = b""
        try:
            for piece in pieces:
                block, times = piece if isinstance(piece, tuple) else (piece, 1)
                for _ in range(times):
                    line.sendall(block)
            if tls is None:
                line.shutdown(socket.SHUT_WR)
        except OSError:
            pass
        try:
            while more := line.recv(65536):
                said += more
        except OSError:
            pass
        return said


def blocks(text: bytes, size: int) -> tuple[bytes, int]:
    """The text over and over, of so many bytes in all."""
    block = text * max(1, MIB // len(text))
    return block, size // len(block)


@pytest.mark.parametrize(
    ("name", "pieces"),
    [
        ("one header of 60 MB", (START + b"X-Large: ", blocks(b"a", LARGE), b"\r\n\r\n")),
        ("one header of 300 MB", (START + b"X-Large: ", blocks(b"a", HUGE), b"\r\n\r\n")),
        ("a name of 60 MB", (START, blocks(b"a", LARGE), b": 1\r\n\r\n")),
        ("a request line of 60 MB", (b"GET /", blocks(b"a", LARGE), b" HTTP/1.1\r\n\r\n")),
        ("a query of 100 kB", (b"GET /?", b"a=1&" * 25_000, b" HTTP/1.1\r\nHost: localhost\r\n\r\n")),
        ("ten million headers", (START, blocks(b"a: b\r\n", LARGE), b"\r\n")),
        ("a thousand headers", (START, b"a: b\r\n" * 1000, b"\r\n")),
        ("a cookie of 60 MB", (START + b"Cookie: ", blocks(b"a=b; ", LARGE), b"\r\n\r\n")),
        ("a folded header of 60 MB", (START + b"X: a", blocks(b"\r\n a", LARGE), b"\r\n\r\n")),
        ("a trailer of 60 MB", (CHUNKED + b"1\r\na\r\n0\r\nX: ", blocks(b"a", LARGE), b"\r\n\r\n")),
        ("ten million trailers", (CHUNKED + b"0\r\n", blocks(b"a: b\r\n", LARGE), b"\r\n")),
        ("an extension of 60 MB", (CHUNKED + b"1;", blocks(b"a", LARGE), b"\r\na\r\n0\r\n\r\n")),
        ("a chunk without end", (CHUNKED + b"f" * 8 + b"\r\n", blocks(b"a", 2 * LARGE))),
        ("crumbs", (CHUNKED, blocks(b"1\r\na\r\n", LARGE), b"0\r\n\r\n")),
        ("more than a body may have", (POST + b"Content-Length: 999999999999\r\n\r\n", b"a" * MIB)),
        ("a body in chunks without end", (CHUNKED, blocks(b"100000\r\n" + b"a" * MIB + b"\r\n", HUGE))),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_too_much_is_refused_and_little_of_it_is_held(
    server: ServerProcess, name: str, pieces: tuple[bytes | tuple[bytes, int], ...]
) -> None:
    with little_is_held(server):
        said = sent(server, *pieces)
        assert said[9:12] in TOO_LARGE, said[:200]
    assert answers(server.url, 20)


SIZES = ["-1", "0x10", "zz", "1_0", " 1", "+1", "1.5", "", "f" * 9, "f" * 16, "f" * 20, "f" * 5000]
LENGTHS = ["-1", "0x10", "+1", "1_0", "1.5", "", "1, 2", "9" * 5000]


@pytest.mark.parametrize(
    "start",
    [
        *(CHUNKED + size.encode() + b"\r\n" for size in SIZES),
        *(POST + b"Content-Length: %b\r\n\r\n" % length.encode() for length in LENGTHS),
        POST + b"Content-Length: 5\r\nContent-Length: 6\r\n\r\n",
    ],
    ids=[*(f"chunk {size[:20]}" for size in SIZES), *(f"body {size[:20]}" for size in LENGTHS), "two"],
)  # fmt: skip
def test_an_absurd_size_is_a_bad_request(server: ServerProcess, start: bytes) -> None:
    with little_is_held(server):
        said = sent(server, start, blocks(b"a", MIB))
        assert said[9:12] == b"400", said[:200]


@pytest.mark.parametrize("https", [False, True], ids=["http", "https"])
def test_what_comes_from_a_network_holds_no_more(tmp_path: Path, https: bool) -> None:
    """From this machine's own address on a network, where a request counts as another device's."""
    host = next(iter(own_addresses()), HERE)
    tls = unchecked() if https else None
    attacks: dict[str, tuple[bytes | tuple[bytes, int], ...]] = {
        "header": (START + b"X-Large: ", blocks(b"a", HUGE), b"\r\n\r\n"),
        "headers": (START, blocks(b"a: b\r\n", LARGE), b"\r\n"),
        "request line": (b"GET /", blocks(b"a", LARGE), b" HTTP/1.1\r\n\r\n"),
        "body": (CHUNKED, blocks(b"100000\r\n" + b"a" * MIB + b"\r\n", HUGE)),
        "trailer": (CHUNKED + b"1\r\na\r\n0\r\nX: ", blocks(b"a", LARGE), b"\r\n\r\n"),
    }
    with served(tmp_path / "data", share=True, https=https) as server:
        for name, pieces in attacks.items():
            with little_is_held(server):
                said = sent(server, *pieces, host=host, tls=tls)
                assert said[9:12] in TOO_LARGE, (name, said[:200])
        large = (FILE, b"[", blocks(b"[],", LARGE), b"[]]", END)
        with little_is_held(server):
            said = posted(server, EVERYTHING, MULTIPART, *large, tls=tls)
            assert said[9:12] == b"422", said[:200]
        assert answers(server.url, 20)


TOKEN = b'--b\r\nContent-Disposition: form-data; name="csrf_token"\r\n\r\n%b\r\n'
FILE = b'--b\r\nContent-Disposition: form-data; name="file"; filename="f"\r\n\r\n'
PART = b'--b\r\nContent-Disposition: form-data; name="%b"%b\r\n\r\n%b\r\n'
END = b"\r\n--b--\r\n"
MULTIPART, URLENCODED = "multipart/form-data; boundary=b", "application/x-www-form-urlencoded"
HEAD = (
    b'{"format": "pitapp everything", "version": 1, "schema_version": 1, '
    b'"written_at": "2026-05-16T09:00:00Z", "written_by": "x", '
)
EMOJI = "é😀".encode()
EVERYTHING, RUNS = "/exchange/everything", "/exchange/runs"
SHEET = 5 * MIB - 99


def posted(
    server: ServerProcess,
    path: str,
    kind: str,
    *pieces: bytes | tuple[bytes, int],
    tls: ssl.SSLContext | None = None,
) -> bytes:
    """The status of the answer to a form of this machine's own browser, made of the pieces.

    A piece in which `%b` stands is given the token.
    """
    phone = Phone(HERE, server.port, "Test phone", tls)
    token = phone.get("/token").encode()
    cookies = "; ".join(f"{name}={value}" for name, value in phone.cookies.items())
    phone.close()
    whole = [piece if isinstance(piece, tuple) else (piece, 1) for piece in pieces]
    whole = [(block.replace(b"%b", token), times) for block, times in whole]
    length = sum(len(block) * times for block, times in whole)
    head = (
        f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nCookie: {cookies}\r\nContent-Type: {kind}\r\n"
        f"Referer: https://127.0.0.1:{server.port}/\r\n"
        f"X-CSRFToken: {token.decode()}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n"
    )
    return sent(server, head.encode(), *whole, tls=tls)


@pytest.mark.parametrize(
    ("name", "path", "kind", "pieces", "status"),
    [
        ("a million fields", "/kit/gears", URLENCODED, (blocks(b"a&", 2 * MIB - 10),), 413),
        ("a form of 60 MB", "/kit/gears", URLENCODED, (blocks(b"a=b&", LARGE),), 413),
        ("a million parts", EVERYTHING, MULTIPART, (blocks(PART % (b"a", b"", b"b"), LARGE), END), 413),
        ("many files", EVERYTHING, MULTIPART, (blocks(PART % (b"a", b'; filename="f"', b"b"), LARGE), END), 413),
        ("fields of 1 MB", EVERYTHING, MULTIPART, (blocks(PART % (b"a", b"", EMOJI * 170_000), LARGE), END), 413),
        ("a part's header of 60 MB", EVERYTHING, MULTIPART, (b"--b\r\nX: ", blocks(b"a", LARGE), END), 413),
        ("60 MB before the first part", EVERYTHING, MULTIPART, (blocks(b"a", LARGE), END), 413),
        ("5 MB of commas", RUNS, MULTIPART, (FILE, blocks(b",", SHEET), END), 422),
        ("a line of commas", RUNS, MULTIPART, (FILE, b"started,car\n", blocks(b",", SHEET), END), 422),
        ("5 MB of lines", RUNS, MULTIPART, (FILE, b"started,car\n", blocks(b"1,2\n", SHEET), END), 422),
        ("5 MB in quotes", RUNS, MULTIPART, (FILE, b'started,car\n"', blocks(b"a", SHEET), END), 422),
    ],
    ids=lambda value: value if isinstance(value, str) and " " in value else "",
)  # fmt: skip
def test_a_form_of_too_much_is_refused_and_little_of_it_is_held(
    server: ServerProcess, name: str, path: str, kind: str, pieces: Any, status: int
) -> None:
    with little_is_held(server):
        said = posted(server, path, kind, *pieces)
        assert said.startswith(f"HTTP/1.1 {status} ".encode()), said[:200]


ROWS = HEAD + b'"tables": {"gears": ['
CARS = b'"tables": {"cars": ['
GEAR = b'{"id": 1, "kind": "spur", "teeth": 66, "pitch": "dp:64"},'


@pytest.mark.parametrize(
    ("name", "pieces"),
    [
        ("60 MB of []", (b"[", blocks(b"[],", LARGE), b"[]]")),
        ("60 MB of [] among the rows", (ROWS, blocks(b"[],", LARGE), b"[]]}}")),
        ("60 MB of {}", (ROWS, blocks(b"{},", LARGE), b"{}]}}")),
        ("60 MB of [[[[", (blocks(b"[", LARGE),)),
        ("60 MB of objects in objects", (HEAD, blocks(b'"a":{', LARGE))),
        ("60 MB of numbers", (HEAD + b'"tables": [', blocks(b"1,", LARGE), b"1]}")),
        ("60 MB of keys", (HEAD, *((b'"%d":1,' % n, 1) for n in range(3)), blocks(b'"a":1,', LARGE))),
        ("60 MB of tables", (HEAD + b'"tables": {', blocks(b'"a":[],', LARGE), b'"a":[]}}')),
        ("a row of 60 MB", (ROWS + b'{"id": 1', blocks(b',"a":1', LARGE), b"}]}}")),
        ("a text of 60 MB", (ROWS + b'{"kind": "', blocks(EMOJI, LARGE), b'"}]}}')),
        ("a key of 60 MB", (ROWS + b'{"', blocks(b"a", LARGE), b'": 1}]}}')),
        ("a number of 60 MB", (ROWS + b'{"id": ', blocks(b"1", LARGE), b"}]}}")),
        ("a string of 60 MB", (b'"', blocks(b"a", LARGE), b'"')),
        ("60 MB of rows alike", (ROWS, blocks(GEAR, LARGE), GEAR[:-1] + b"]}}")),
        ("60 MB of spaces", (ROWS, blocks(b" ", LARGE), b"]}}")),
        ("60 MB of keys of writes", (HEAD + b'"tables": {}, "write_keys": [', blocks(b"{},", LARGE), b"{}]}")),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_a_hostile_file_of_everything_is_refused_and_little_of_it_is_held(
    server: ServerProcess, name: str, pieces: Any
) -> None:
    with little_is_held(server):
        said = posted(server, EVERYTHING, MULTIPART, FILE, *pieces, END)
        assert said[9:12] == (b"200" if name == "60 MB of spaces" else b"422"), said[:200]


def test_a_large_file_of_everything_is_taken_and_little_of_it_is_held(
    server: ServerProcess,
) -> None:
    car = b'{"id": %d, "name": "Invented %d", "internal_ratio": 1.9, "pitch": "dp:64", "tyre_diameter_mm": 63.0}'
    cars = b",".join(car % (number, number) for number in range(1, 60_000))
    with little_is_held(server):
        said = posted(server, EVERYTHING, MULTIPART, FILE, HEAD + CARS + cars + b"]}}", END)
        assert said.startswith(b"HTTP/1.1 200 "), said[-3000:]


def a_long_season(folder: Path, many: int) -> bytes:
    """The file of everything of the demo with so many runs, each with a set-up of its own."""
    app = create_app(folder, clock=Clock(), invented=True)
    fill(app)
    database = app.extensions["pitapp.db"]
    whole = json.loads("".join(document.write(database.connection(), RACE_MORNING)))
    database.close()
    runs, setups = whole["tables"]["runs"], whole["tables"]["run_setups"]
    for number in range(len(runs), many):
        run = dict(runs[number % len(runs)], id=10_000 + number)
        setup = dict(
            next(each for each in setups if each["id"] == run["setup_id"]), id=10_000 + number
        )
        setup["digest"] = f"{number:064x}"
        runs.append(
            run | {"uuid": f"00000000-0000-4000-8000-{number:012}", "setup_id": setup["id"]}
        )
        setups.append(setup)
    return json.dumps(whole).encode()


def test_a_season_of_two_thousand_runs_is_read_and_taken(
    server: ServerProcess, tmp_path: Path
) -> None:
    season = a_long_season(tmp_path / "demo", 2000)
    assert len(season) > 3 * MIB
    with little_is_held(server):
        said = posted(server, EVERYTHING, MULTIPART, FILE, season, END).decode()
        assert said[9:12] == "200", said[-3000:]
        digest = re.search(r'name="digest"[^>]*value="([0-9a-f]{64})"', said)
        assert digest is not None
        form = f"digest={digest[1]}".encode()
        said = posted(server, f"{EVERYTHING}/take", URLENCODED, form).decode()
        assert said[9:12] in ("302", "303"), said[-3000:]
    with closing(sqlite3.connect(server.data_dir / "pitapp.sqlite3")) as database:
        assert database.execute("SELECT count(*) FROM runs").fetchone() == (2000,)


def test_a_copy_with_a_huge_text_is_refused_and_little_of_it_is_held(
    server: ServerProcess, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.sqlite3"
    with closing(sqlite3.connect(server.data_dir / "pitapp.sqlite3")) as database:
        database.execute("VACUUM INTO ?", (str(copy),))
    with closing(sqlite3.connect(copy)) as database, database:
        text = "[" + "[]," * 9_000_000 + "[]]😀"
        database.execute("INSERT INTO settings (name, value) VALUES ('own', ?)", (text,))
    with little_is_held(server):
        said = posted(server, "/copies/uploaded", MULTIPART, FILE, copy.read_bytes(), END)
        assert said.startswith(b"HTTP/1.1 422 "), said[:200]
        assert "larger than any" in said.decode("utf-8", "replace")

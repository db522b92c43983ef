"""The command where the terminal is closed, full or gone, and at addresses of IPv6."""

from __future__ import annotations

import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from pitapp.web.http.headers import hostname
from tests.support import PageClient

WHOLE = 60
CLOSED = {
    "output": "exec 1>&-",
    "output and errors": "exec 1>&- 2>&-",
    "all three": "exec 0<&- 1>&- 2>&-",
    "a full device": "exec 1>/dev/full",
    "a full device for errors too": "exec 1>/dev/full 2>/dev/full",
    "a reader that is gone": "exec 1> >(exit 0); sleep 0.2",
}


@contextmanager
def started(folder: Path, shell: str, *more: str) -> Iterator[subprocess.Popen[Any]]:
    """`pitapp serve` behind a shell that does something to its standard streams first.

    It hears Ctrl-C also where the tests were started in the background, which makes them deaf to it.
    """
    command = f'{shell}; exec "$0" -m pitapp serve --port 0 --data "$@"'
    process = subprocess.Popen(
        ["bash", "-c", command, sys.executable, str(folder), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    try:
        yield process
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()


def address_in(folder: Path, process: subprocess.Popen[Any]) -> str:
    """Where it is served, as the lock of the folder says; waits until it says so or the process ended."""
    lock = folder / "serving.lock"
    while process.poll() is None:
        said = lock.read_text(encoding="ascii") if lock.exists() else ""
        if said.endswith("/"):
            return said
    raise AssertionError(f"ended with {process.returncode}: {process.communicate()}")


@pytest.mark.parametrize("shell", CLOSED.values(), ids=CLOSED.keys())
def test_it_serves_where_nobody_listens(tmp_path: Path, shell: str) -> None:
    folder = tmp_path / "data"
    with started(folder, shell) as process:
        url = address_in(folder, process)
        for path in ("", "kit", "settings"):
            with urllib.request.urlopen(url + path, timeout=WHOLE) as answer:
                assert answer.status == 200
        process.send_signal(signal.SIGINT)
        assert process.wait(WHOLE) == 0
    with closing(sqlite3.connect(folder / "pitapp.sqlite3")) as database:
        assert database.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


@pytest.mark.parametrize("shell", CLOSED.values(), ids=CLOSED.keys())
def test_a_backup_is_made_where_nobody_listens(
    tmp_path: Path, client: PageClient, app: Any, shell: str
) -> None:
    folder = app.config["PITAPP_DATA_DIR"]
    command = f'{shell}; exec "$0" -m pitapp backup "$1" --data "$2"'
    done = subprocess.run(
        ["bash", "-c", command, sys.executable, str(tmp_path / "copy"), str(folder)],
        capture_output=True,
        timeout=WHOLE,
        check=False,
    )
    assert done.returncode == 0
    assert b"Traceback" not in done.stderr
    with closing(sqlite3.connect(tmp_path / "copy")) as database:
        assert database.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def has_ipv6() -> bool:
    try:
        with socket.socket(socket.AF_INET6) as probe:
            probe.bind(("::1", 0))
    except OSError:
        return False
    return True


@pytest.mark.parametrize("host", ["::", "::1", "0:0:0:0:0:0:0:1"])
def test_it_serves_at_addresses_of_ipv6(tmp_path: Path, host: str) -> None:
    folder = tmp_path / "data"
    if not has_ipv6():  # then the command says so, and ends
        with started(folder, ":", "--host", host) as process:
            assert process.wait(WHOLE) == 1
            assert b"Cannot listen" in process.communicate()[1]
        return
    with started(folder, ":", "--host", host) as process:
        url = address_in(folder, process)
        assert url.startswith("http://localhost:" if host == "::" else "http://[::1]:")
        port = re.search(r":(\d+)/$", url)
        assert port is not None
        hosts = ["[::1]", "[0:0:0:0:0:0:0:1]"] + ["localhost", "127.0.0.1"] * (host == "::")
        for name in hosts:
            with urllib.request.urlopen(f"http://{name}:{port[1]}/", timeout=WHOLE) as answer:
                assert answer.status == 200, name


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("[::1]:8510", "[::1]"),
        ("[::1]", "[::1]"),
        ("[0:0::1]:1", "[::1]"),
        ("[::ffff:127.0.0.1]:8510", "127.0.0.1"),
        ("[FD00::A]", "[fd00::a]"),
        ("LOCALHOST:80", "localhost"),
        ("[::1]evil.example", "["),
        ("[::1", "["),
        ("[]", "[]"),
        ("[evil.example]", "[evil.example]"),
        ("", ""),
    ],
)
def test_the_name_in_a_host_header(given: str, name: str) -> None:
    """RFC 3986, 3.2.2 and RFC 9112, 3.2: an address of IPv6 stands in brackets, a name has no case."""
    assert hostname(given) == name


@pytest.mark.parametrize(
    "host", ["[::1]evil.example", "[::1", "[]", "[::2]", "evil.example", "[::1]:x"]
)
def test_other_hosts_are_refused(client: PageClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 400
    assert client.get("/", headers={"Host": "[::1]:8510"}).status_code == 200

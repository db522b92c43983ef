"""A built folder beside the server: its files and nothing else, at an address that Devices names."""

from __future__ import annotations

import re
import socket
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner
from werkzeug.test import Client

from pitapp import create_app
from pitapp.cli import cli
from pitapp.errors import DataError
from pitapp.pocket import MARK, OFFERED_AT
from pitapp.pocket.serving import AWAY, static_site
from tests.support import serving


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "folder"
    (folder / "runtime").mkdir(parents=True)
    (folder / MARK).write_text("{}", encoding="utf-8")
    (folder / "index.html").write_text("<title>Invented</title>", encoding="utf-8")
    (folder / "python.js").write_text("export {};", encoding="utf-8")
    (folder / "runtime" / "python.wasm.gz").write_bytes(b"\x1f\x8b")
    (tmp_path / "secret.key").write_text("secret", encoding="utf-8")
    return folder


def test_the_folders_files_are_given_out(folder: Path) -> None:
    site = Client(static_site(folder))
    assert "Invented" in site.get("/").text
    script = site.get("/python.js")
    assert script.mimetype == "text/javascript"
    assert script.headers["X-Content-Type-Options"] == "nosniff"
    part = site.get("/runtime/python.wasm.gz?0123")
    assert part.data == b"\x1f\x8b"
    assert "Content-Encoding" not in part.headers  # the page unpacks it, and checks what was sent


@pytest.mark.parametrize("path", ["/../secret.key", "/%2e%2e/secret.key", "/runtime", "/none.js"])
def test_nothing_else_is(folder: Path, path: str) -> None:
    answer = Client(static_site(folder)).get(path)
    assert answer.status_code == 404
    assert "secret" not in answer.text


def test_nothing_can_be_sent_to_it(folder: Path) -> None:
    assert Client(static_site(folder)).post("/", data={"a": "b"}).status_code == 405


def test_another_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="pitapp pocket"):
        static_site(tmp_path)


def test_devices_leads_there_where_it_is_offered(tmp_path: Path) -> None:
    app = create_app(tmp_path / "data")
    assert "On a phone alone" not in app.test_client().get("/devices").text
    app.extensions[OFFERED_AT] = 8599
    assert 'href="http://localhost:8599/"' in app.test_client().get("/devices").text


def free_pair() -> int:
    """A port that is free, and so is the one at which the folder would be."""
    for port in range(20000, 30000, 7):
        with socket.socket() as first, socket.socket() as second:
            try:
                first.bind(("127.0.0.1", port))
                second.bind(("127.0.0.1", port + AWAY))
            except OSError:
                continue
            return port
    raise AssertionError("No two ports are free.")


def test_the_server_gives_the_folder_the_same_address_each_time(
    folder: Path, tmp_path: Path
) -> None:
    port = str(free_pair())
    addresses = set()
    for _ in range(2):
        options = ("--pocket", folder, "--port", port, "--data", tmp_path / "data")
        with serving(*options) as said:
            offered = re.search(r"On a phone alone: (\S+)", said, re.IGNORECASE)
            own = re.search(r"is at (\S+)", said)
            assert offered is not None, said
            assert own is not None, said
            addresses.add(offered[1])
            with urllib.request.urlopen(offered[1], timeout=60) as answer:
                assert b"Invented" in answer.read()
            with urllib.request.urlopen(own[1] + "devices", timeout=60) as answer:
                assert offered[1] in answer.read().decode()
    assert len(addresses) == 1


def test_a_folder_or_a_port_that_will_not_do_is_a_sentence(folder: Path, tmp_path: Path) -> None:
    data = str(tmp_path / "data")
    done = CliRunner().invoke(
        cli, ["serve", "--port", "0", "--data", data, "--pocket", str(tmp_path)]
    )
    assert isinstance(done.exception, DataError)
    assert "pitapp pocket" in str(done.exception)
    port = free_pair()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port + AWAY))
        taken.listen()
        done = CliRunner().invoke(
            cli, ["serve", "--port", str(port), "--data", data, "--pocket", str(folder)]
        )
    assert isinstance(done.exception, DataError)
    assert f"port {port + AWAY}" in str(done.exception)

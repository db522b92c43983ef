"""A built folder beside the server: its files and nothing else, at an address that Devices names."""

from __future__ import annotations

from pathlib import Path

import pytest
from werkzeug.test import Client

from pitapp import create_app
from pitapp.errors import DataError
from pitapp.pocket import MARK
from pitapp.pocket.serving import PORT, static_site


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
    assert "Content-Encoding" not in part.headers


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
    app.extensions[PORT] = 8599
    assert 'href="http://localhost:8599/"' in app.test_client().get("/devices").text

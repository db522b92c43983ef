"""Headers, tokens, hosts and cookies, from the first page on."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.web.http.headers import POLICY
from tests.support import PageClient

PAGES = ("/", "/gearing", "/kit", "/settings", "/nowhere", "/static/icons/icon.svg", "/token")


@pytest.mark.parametrize("path", PAGES)
def test_every_answer_carries_the_headers(client: PageClient, path: str) -> None:
    headers = client.get(path).headers
    assert headers["Content-Security-Policy"] == POLICY
    assert "unsafe" not in POLICY
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert len(headers.getlist("Content-Security-Policy")) == 1


@pytest.mark.parametrize("path", ["/static/js/gearing.js", "/static/css/base.css", "/sw.js"])
def test_a_script_or_style_carries_what_governs_it(client: PageClient, path: str) -> None:
    """A worker's policy is its script's; what a document may do is no matter of a script."""
    headers = client.get(path).headers
    assert headers["Content-Security-Policy"] == POLICY
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"


def test_every_write_needs_the_token(app: Flask, client: PageClient) -> None:
    writes = [
        rule.rule
        for rule in app.url_map.iter_rules()
        if rule.methods and rule.methods & {"POST", "PUT", "PATCH", "DELETE"}
    ]
    assert writes
    for rule in writes:
        path = re.sub(r"<uuid:\w+>", "3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70", rule)
        answer = client.post(re.sub(r"<(?:\w+:)?\w+>", "1", path))
        assert answer.status_code == 400, rule
        assert answer.headers["X-Csrf-Refused"] == "1", rule


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost@evil"])
def test_a_wrong_host_is_refused(client: PageClient, host: str) -> None:
    answer = client.get("/", headers={"Host": host})
    assert answer.status_code == 400
    assert "pitapp" in answer.text


@pytest.mark.parametrize("host", ["localhost:8510", "127.0.0.1:1", "[::1]:8510"])
def test_this_machines_names_are_served(client: PageClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


def test_the_session_cookie_is_strict_and_lasts(client: PageClient) -> None:
    cookie = client.get("/").headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Max-Age=34560000" in cookie
    assert "Expires=" not in cookie, "the server's clock may be wrong"


def test_the_key_is_kept_for_its_owner_only(app: Flask, tmp_path: Path) -> None:
    key = Path(app.config["PITAPP_DATA_DIR"]) / "secret.key"
    assert key.stat().st_mode & 0o077 == 0
    again = create_app(app.config["PITAPP_DATA_DIR"])
    assert again.config["SECRET_KEY"] == app.config["SECRET_KEY"]
    assert create_app(tmp_path / "other").config["SECRET_KEY"] != app.config["SECRET_KEY"]
    again.extensions["pitapp.db"].close()


def test_what_was_typed_is_escaped(client: PageClient) -> None:
    page = client.get("/gearing", query_string={"tyre": "<script>alert(1)</script>"}).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_a_file_outside_static_is_not_served(client: PageClient) -> None:
    assert client.get("/static/../pitapp/__init__.py").status_code == 404
    assert client.get("/static/%2e%2e/README.md").status_code == 404


def test_marked_static_addresses_are_kept_for_ever(client: PageClient) -> None:
    page = client.get("/").text
    address = re.search(r'href="(/static/css/tokens\.css\?v=[0-9a-f]+)"', page)
    assert address is not None
    assert "immutable" in client.get(address[1]).headers["Cache-Control"]
    assert client.get("/static/css/tokens.css").headers["Cache-Control"] == "no-cache"


def test_too_much_for_one_form_is_refused_with_a_sentence(client: PageClient) -> None:
    answer = client.post_form("/kit/gears", {"teeth": "1" * 3_000_000})
    assert answer.status_code == 413
    assert "<h1>Too much</h1>" in answer.text
    assert "Shorten it" in answer.text


@pytest.mark.parametrize(("path", "status"), [("/nothing", 404), ("/undo/none", 405)])
def test_an_error_is_named_in_the_same_words_as_the_apps_own(
    client: PageClient, path: str, status: int
) -> None:
    answer = client.get(path)
    assert answer.status_code == status
    assert ("<h1>Not there</h1>" in answer.text) is (status == 404)
    assert "Not Found" not in answer.text
    assert "Method" not in answer.text

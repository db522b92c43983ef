"""What goes over the wire small, and that it is the same when it is unpacked."""

from __future__ import annotations

import gzip

import pytest
from flask import Flask
from flask.testing import FlaskClient

from tests.house import ROOT
from tests.support import PageClient

PACKED = {"Accept-Encoding": "gzip, br"}


@pytest.mark.parametrize("path", ["/gearing", "/static/css/base.css", "/static/js/gearing.js"])
def test_texts_are_packed_for_whoever_takes_them(app: Flask, path: str) -> None:
    client = FlaskClient(app, app.response_class)
    client.get(path)
    plain, small = client.get(path), client.get(path, headers=PACKED)
    assert "Content-Encoding" not in plain.headers
    assert small.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(small.data) == plain.data
    assert len(small.data) < len(plain.data) / 2
    assert small.content_length == len(small.data)
    assert "Accept-Encoding" in small.headers["Vary"]


def test_pictures_and_small_answers_are_left_alone(client: PageClient) -> None:
    for path in ("/static/icons/icon-192.png", "/token", "/static/icons/icon.svg"):
        assert "Content-Encoding" not in client.get(path, headers=PACKED).headers


def test_a_packed_file_is_not_sent_again(client: PageClient) -> None:
    first = client.get("/static/css/base.css", headers=PACKED)
    again = {**PACKED, "If-None-Match": first.headers["ETag"]}
    answer = client.get("/static/css/base.css", headers=again)
    assert answer.status_code == 304
    assert answer.data == b""


def test_what_others_wrote_is_served_as_it_is(client: PageClient) -> None:
    (script,) = (ROOT / "static" / "vendor").glob("*/htmx.min.js")
    address = script.relative_to(ROOT).as_posix()
    assert client.get(f"/{address}").data == script.read_bytes()

"""Every address: reading changes nothing, each answer says what it is, and no other site is let in."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from typing import NamedTuple, cast

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from pitapp import create_app
from pitapp.db.connect import connect
from pitapp.demo import fill
from tests.support import Clock, PageClient


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    app = create_app(tmp_path_factory.mktemp("answers"), clock=Clock(), invented=True)
    app.test_client_class = PageClient
    fill(app)
    yield app
    app.extensions["pitapp.db"].close()


class Read(NamedTuple):
    """The answer of every address that can be read, by its rule, and which of them wrote."""

    answers: dict[str, TestResponse]
    wrote: list[str]


def version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA data_version").fetchone()[0])


@pytest.fixture(scope="module")
def read(demo: Flask) -> Read:
    client, found = cast(PageClient, demo.test_client()), Read({}, [])
    with closing(connect(demo.extensions["pitapp.db"].path)) as other:
        for rule in demo.url_map.iter_rules():
            if "GET" in cast(set[str], rule.methods):
                before = version(other)
                path = rule.rule.replace("<path:filename>", "css/base.css")
                found.answers[rule.rule] = client.get(re.sub(r"<(?:\w+:)?\w+>", "1", path))
                if version(other) != before:
                    found.wrote.append(rule.rule)
        before = version(other)
        client.post_form("/kit/gears", {"kind": "pinion", "teeth": "31", "pitch": "dp:64"})
        assert version(other) != before, "a write is seen"
    assert len(found.answers) > 80
    return found


def test_reading_changes_nothing(read: Read) -> None:
    assert read.wrote == []


def test_each_answer_says_what_it_is(read: Read) -> None:
    for rule, answer in read.answers.items():
        kind = answer.headers.get("Content-Type", "")
        assert kind or not answer.data, rule
        assert not kind.startswith("text/") or "charset=utf-8" in kind, rule
        assert answer.headers["X-Content-Type-Options"] == "nosniff", rule


def test_no_other_origin_may_read(read: Read) -> None:
    for rule, answer in read.answers.items():
        assert "Access-Control-Allow-Origin" not in answer.headers, rule
        assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin", rule


def test_nothing_is_sent_to_another_host(read: Read) -> None:
    for rule, answer in read.answers.items():
        location = answer.headers.get("Location", "/")
        assert re.match(r"/(?!/)", location), rule
        if answer.mimetype == "text/html":
            assert not re.search(r'(?:src|href|action)="(?:[a-z]+:|//)', answer.text), rule


@pytest.mark.parametrize(
    "back", ["//evil.example/", "https://evil.example/", "/\\evil.example", "javascript:alert(1)"]
)
def test_undo_leads_to_this_server_only(demo: Flask, back: str) -> None:
    client = cast(PageClient, demo.test_client())
    assert client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"}).status_code == 303
    (action,) = re.findall(r'action="(/undo/[^"]+)"', client.get("/gearing").text)
    assert client.post_form(action, {"back": back}).headers["Location"] == "/"

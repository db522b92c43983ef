"""Thousands of hostile requests over every route and form: no 5xx, no stack trace, nothing unescaped."""

from __future__ import annotations

import io
import os
import re
import tempfile
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from pitapp import create_app
from pitapp.copies import store as copies
from pitapp.demo import fill
from pitapp.exchange import document
from tests.support import Clock, PageClient

REQUESTS = int(os.environ.get("PITAPP_FUZZ_REQUESTS", "4000"))
SHARES = 4
MARK = "<zq'\">&amp"
HEAVY = {"/offline/pages", "/exchange/everything.schema.json", "/exchange/sheets.zip"}
FORM = re.compile(r"<form\b.*?</form>", re.DOTALL)
NAME = re.compile(r'<(?:input|select|textarea|button)\b[^>]*?\bname="([^"]+)"')
LINK = re.compile(r'href="(/[^"#]*)"')


@pytest.fixture(scope="module")
def demo() -> Iterator[Flask]:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        app = create_app(folder, clock=Clock(), invented=True)
        app.test_client_class = PageClient
        app.testing = False
        fill(app)
        yield app
        app.extensions["pitapp.db"].close()


@pytest.fixture(scope="module")
def names(demo: Flask) -> list[str]:
    """Every name of a field or argument on any page that can be reached from the Board."""
    client, names = demo.test_client(), {"before", "nudge", "pair", "kind", "value", "back"}
    seen: set[str] = set()
    ahead = ["/", "/more"]
    while ahead and len(seen) < 150:
        path = ahead.pop(0)
        seen.add(path)
        answer = client.get(path)
        if answer.mimetype != "text/html":
            continue
        for form in FORM.findall(answer.text):
            names.update(NAME.findall(form))
        kinds = {re.sub(r"\d+", "1", path) for path in seen}
        ahead += [
            link
            for link in dict.fromkeys(LINK.findall(answer.text))
            if re.sub(r"\d+", "1", link.split("?")[0]) not in kinds and link not in ahead
        ]
    return sorted(names - {"csrf_token"})


TEXTS = st.one_of(
    st.sampled_from(
        [
            "", " ", "0", "-1", "1", "2", "45", "66", "63,5", "1e308", "1e400", "nan", "inf",
            "9" * 40, "9" * 4000, "🏎", "\x00", "\u202e", "%s{{7*7}}", "' OR 1=1 --", "../../etc",
            MARK, f"{MARK}on", "2026-05-16", "2026-02-30", "09:30", "25:99", "on", "true",
            "dp:64", "=1+1", "a\r\nb: c", "20-32, 35", "10:00\n10:20", "[]", "{}",
        ]
    ),
    st.text(max_size=30),
    st.integers().map(str),
    st.floats().map(str),
)  # fmt: skip
NUMBERS = st.integers(0, 80).map(str)
PIECES = TEXTS.map(lambda text: re.sub(r"[?#\s]", "", text) or "x")
HEADERS = st.dictionaries(
    st.sampled_from(
        ["HX-Request", "Idempotency-Key", "Accept", "Referer", "Origin", "If-None-Match",
         "If-Modified-Since", "Range", "Accept-Language", "X-Forwarded-Host", "Content-Encoding"]
    ),
    st.sampled_from(
        ["true", "x" * 3000, "bytes=0-0", "*/*", "http://evil.example", "\"'",
         "3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70", "not a uuid", "gzip", "de,en;q=x"]
    ),
    max_size=2,
)  # fmt: skip
COOKIES = st.sampled_from(
    [None, None, None, "pitapp_theme=glare", "pitapp_theme=<b>", "x=\x7f", "=;=;"]
)
FILES = st.sampled_from(
    [None, None, b"", b"SQLite format 3\x00", b"{}", b"a,b\n1,2\n", b"\xff\xfe\x00", b"[" * 500]
)


@pytest.mark.parametrize("share", range(SHARES))
def test_hostile_requests(demo: Flask, names: list[str], share: int) -> None:
    """Each share sends a fifth of the requests, by chances of its own."""
    assert len(names) > 20
    rules = sorted(
        ((rule.rule, sorted(rule.methods or ())) for rule in demo.url_map.iter_rules()), key=str
    )
    routes = st.sampled_from(
        [rule for rule in rules if rule[0] not in HEAVY] * 20
        + [rule for rule in rules if rule[0] in HEAVY]
    )
    filled_in = st.dictionaries(st.sampled_from(names), TEXTS, max_size=6)
    client = demo.test_client()
    token = client.get("/token").text
    answered: dict[int, int] = {}

    @seed(share)
    @settings(
        max_examples=-(-REQUESTS // SHARES),
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.data())
    def send(data: st.DataObject) -> None:
        rule, methods = data.draw(routes)
        path = re.sub(
            r"<(?:(\w+):)?\w+>",
            lambda part: data.draw(NUMBERS if part[1] == "int" else PIECES),
            rule,
        )
        fields = data.draw(filled_in)
        headers, cookie = data.draw(HEADERS), data.draw(COOKIES)
        if cookie:
            headers["Cookie"] = cookie
        method = "POST" if "POST" in methods else "GET"
        if method == "GET":
            answer = client.get(path, query_string=fields, headers=headers)
        else:
            form: dict[str, Any] = {"csrf_token": token, **fields}
            content = data.draw(FILES)
            if content is not None:
                form["file"] = (io.BytesIO(content), "x")
            answer = client.post(path, data=form, headers=headers)
        answered[answer.status_code] = answered.get(answer.status_code, 0) + 1
        shown = f"{method} {path!r} {fields!r} {headers!r}"
        assert answer.status_code < 500, shown
        if answer.mimetype == "text/html":
            assert "Traceback (most recent call last)" not in answer.text, shown
            assert MARK not in answer.text, shown

    send()
    assert sum(answered.values()) * SHARES >= REQUESTS
    assert {200, 303, 404, 422} <= set(answered), answered
    assert what_was_taken_can_be_brought_back(demo)


def what_was_taken_can_be_brought_back(app: Flask) -> bool:
    """Whether a copy and a file of everything hold nothing that they would be refused for."""
    db, folder = app.extensions["pitapp.db"].connection(), app.config["PITAPP_DATA_DIR"]
    with copies.looked_through(copies.keep_copy(db, folder, "by-hand", Clock()()), folder) as ready:
        held = ready.contents
    found = document.read("".join(document.write(db, Clock()())).encode())
    return held.cars == len(found.tables["cars"]) > 0

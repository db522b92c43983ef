"""A fault in a field that a form fills in by itself is said where a racer sees it."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import cast
from uuid import uuid4

import pytest
from flask import Flask
from werkzeug.routing import Rule

from pitapp import create_app
from pitapp.demo import fill
from tests.support import Clock, PageClient

NONSENSE = ("x", "", "-1", "999999999")
OWN = {"csrf_token", "idempotency_key"}
SAID = {"error", "verdict-stop", "undo-bar"}
VOID = {"input", "link", "meta", "br", "img", "hr"}


class Page(HTMLParser):
    """The forms of a page, each with its fields and the hidden ones among them, and what is said on it."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[tuple[str, dict[str, str], list[str]]] = []
        self.said: list[str] = []
        self._open: list[tuple[str, bool, bool]] = []
        self._select = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            action = given.get("action", "") if given.get("method") == "post" else ""
            self.forms.append(("" if "enctype" in given else action, {}, []))
        elif self.forms and given.get("name"):
            _, fields, hidden = self.forms[-1]
            if tag == "select":
                self._select = given["name"]
            elif given.get("type") not in ("radio", "checkbox") or "checked" in given:
                fields[given["name"]] = given.get("value", "")
            if given.get("type") == "hidden":
                hidden.append(given["name"])
        elif tag == "option" and self.forms and "selected" in given:
            self.forms[-1][1][self._select] = given.get("value", "")
        if tag not in VOID:
            unseen = "hidden" in given or (bool(self._open) and self._open[-1][1])
            said = bool(SAID & set(given.get("class", "").split()))
            self._open.append((tag, unseen, said or (bool(self._open) and self._open[-1][2])))

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and self._open and not self._open[-1][1] and self._open[-1][2]:
            self.said.append(data.strip())


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Flask]:
    app = create_app(tmp_path / "data", clock=Clock())
    fill(app)
    app.test_client_class = PageClient
    yield app
    app.extensions["pitapp.db"].close()


def addresses(app: Flask) -> list[str]:
    """Every page that is asked for without a name in its address, the first of each list among them."""

    def address(rule: Rule) -> str:
        return app.url_map.bind("localhost").build(rule.endpoint, dict.fromkeys(rule.arguments, 1))

    rules = [rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())]
    numbered = [rule for rule in rules if rule.rule.count("<") == rule.rule.count("<int:")]
    return sorted({address(rule) for rule in numbered if not rule.rule.endswith(".crt")})


def test_a_fault_in_a_hidden_field_is_said(demo: Flask) -> None:
    client = cast(PageClient, demo.test_client())
    met, refused, unsaid = set(), 0, []
    for address in addresses(demo):
        page = client.get(address, follow_redirects=True)
        if page.mimetype != "text/html":
            continue
        for action, fields, hidden in Page(page.text).forms:
            for name in set(hidden) - OWN:
                if not action or (action, name) in met:
                    continue
                met.add((action, name))
                for value in NONSENSE:
                    key = {"idempotency_key": str(uuid4())}
                    answer = client.post_form(action, fields | {name: value} | key)
                    assert answer.status_code < 500, (action, name, value)
                    refused += answer.status_code >= 400
                    if answer.status_code >= 400 and not Page(answer.text).said:
                        unsaid.append((action, name, value, answer.status_code))
    assert unsaid == []
    assert refused > 40, f"only {refused} of {len(met)} fields were refused anything"

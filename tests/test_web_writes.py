"""A write that comes again, since nobody saw the first answer, is answered with the same words and Undo."""

from __future__ import annotations

import re
from time import monotonic
from typing import cast

import pytest
from flask import Flask

from tests.support import PageClient

KEY = {"Idempotency-Key": "0b2b5d0e-3c60-4f0c-9a2e-6c1f2f6f1a11"}


def undos(page: str) -> list[str]:
    return re.findall(r'action="(/undo/[^"]+)"', page)


def test_a_write_sent_again_says_again_what_was_done(app: Flask, client: PageClient) -> None:
    form = {"csrf_token": client.csrf_token(), "name": "Beck Lane"}
    before = client.get_cookie(app.config["SESSION_COOKIE_NAME"])
    assert before
    first = client.post("/tracks/new", data=form, headers=KEY)
    client.set_cookie(before.key, before.value)
    again = client.post("/tracks/new", data=form, headers=KEY)
    assert (again.status_code, again.location) == (first.status_code, first.location)
    assert again.headers["Idempotent-Replayed"] == "true"
    page = client.get("/tracks").text
    assert "Saved Beck Lane" in page
    (undo,) = undos(page)
    client.post_form(undo)
    assert "No tracks yet." in client.get("/tracks").text


def test_what_is_still_unread_is_not_said_twice(client: PageClient) -> None:
    for _ in range(2):
        client.post_form("/tracks/new", {"name": "Beck Lane"}, headers=KEY)
    assert len(undos(client.get("/tracks").text)) == 1


@pytest.mark.parametrize(
    ("asked", "aimed"),
    [("div#gears-part", "#gears-part"), ("div", None), ("div#a b", None), (None, None)],
)
def test_an_answer_to_htmx_names_its_part(
    client: PageClient, asked: str | None, aimed: str | None
) -> None:
    headers = {"HX-Request": "true"} | ({"HX-Target": asked} if asked else {})
    assert client.get("/kit/gears/part", headers=headers).headers.get("HX-Retarget") == aimed


def test_what_is_done_once_is_given_again_to_the_same_session_for_a_minute(
    app: Flask, client: PageClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def replayed(device: PageClient) -> bool:
        return "Idempotent-Replayed" in device.post_form("/copies", headers=KEY).headers

    other = cast(PageClient, app.test_client())
    assert [replayed(client), replayed(client), replayed(other), replayed(other)] == [
        False,
        True,
        False,
        True,
    ]
    later = monotonic() + 61
    monkeypatch.setattr("pitapp.web.writes.transactions.monotonic", lambda: later)
    assert not replayed(client)

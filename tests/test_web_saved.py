"""A phone is told which of its writes were saved, and of no other."""

from __future__ import annotations

from uuid import uuid4

from tests.support import PageClient

COOKIE = "pitapp_saved"


def saved(client: PageClient) -> list[str]:
    cookie = client.get_cookie(COOKIE)
    return cookie.value.split(".") if cookie and cookie.value else []


def add_track(client: PageClient, name: str, key: str) -> int:
    headers = {"Idempotency-Key": key}
    return client.post_form("/tracks/new", {"name": name}, headers=headers).status_code


def test_what_was_saved_is_named_and_what_was_refused_is_not(client: PageClient) -> None:
    first, second = str(uuid4()), str(uuid4())
    assert add_track(client, "", first) == 422
    assert saved(client) == []
    assert add_track(client, "Beck Lane", second) == 303
    assert saved(client) == [second]


def test_a_key_that_stands_in_the_form_counts_too(client: PageClient) -> None:
    key = str(uuid4())
    client.post_form("/tracks/new", {"name": "Beck Lane", "idempotency_key": key})
    assert saved(client) == [key]


def test_the_last_few_are_named_and_nothing_else(client: PageClient) -> None:
    client.set_cookie(COOKIE, "<b>.;" + "x" * 3000)
    keys = [str(uuid4()) for _ in range(6)]
    for number, key in enumerate(keys):
        assert add_track(client, f"Track {number}", key) == 303
    assert saved(client) == keys[:1:-1]


def test_a_write_without_a_key_is_not_named(client: PageClient) -> None:
    assert client.post_form("/tracks/new", {"name": "Beck Lane"}).status_code == 303
    assert saved(client) == []

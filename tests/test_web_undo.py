"""Undo leads to the page it was asked from, or to the nearest one above it that is still there."""

from __future__ import annotations

import re

import pytest

from tests.support import PageClient


def undo_from(client: PageClient, path: str) -> None:
    token, back = re.findall(
        r'action="(/undo/[^"]+)">.*?name="back" value="([^"]+)"', client.get(path).text, re.DOTALL
    )[-1]
    assert client.post_form(token, {"back": back}).location == path


@pytest.mark.parametrize(
    ("form", "values", "made", "nearest"),
    [
        ("/meetings/new", {"day": "2026-05-16", "time_zone": "UTC"}, "/meetings/1", "/meetings"),
        ("/checks/controllers/new", {"name": "A"}, "/checks/controllers/1", "/checks/controllers"),
        ("/checks/lists/new", {"name": "Night", "occasion": "other"}, "/checks/lists/6", "/checks"),
    ],
)
def test_undoing_what_was_added_leads_to_the_page_above(
    client: PageClient, form: str, values: dict[str, str], made: str, nearest: str
) -> None:
    client.get("/checks")
    assert client.post_form(form, values).location == made
    undo_from(client, made)
    answer = client.get(made, follow_redirects=True)
    assert (answer.status_code, answer.request.path) == (200, nearest)
    assert "Undone: Added" in answer.text
    assert client.get(made).status_code == 404


def test_undoing_a_change_leads_back_to_its_page(client: PageClient) -> None:
    client.post_form("/tracks/new", {"name": "Beck Lane"})
    client.post_form("/tracks/1/edit", {"name": "Beck Road", "version": "1"})
    undo_from(client, "/tracks/1")
    answer = client.get("/tracks/1")
    assert answer.status_code == 200
    assert "Undone: Changed" in answer.text


def test_undo_leads_back_to_what_was_chosen_on_the_page(client: PageClient) -> None:
    client.post_form("/tracks/new", {"name": "Beck Lane"})
    page = client.get("/runs?track=1&class=2").text
    assert 'name="back" value="/runs?track=1&amp;class=2"' in page
    client.post_form("/tracks/new", {"name": "Mill Yard"})
    assert 'name="back" value="/?a=1"' in client.get("/part?a=1").text

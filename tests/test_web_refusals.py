"""A worker is refused as JSON why a write was refused, and which token a page's forms have."""

from __future__ import annotations

import html
import json
import sqlite3
import uuid
from typing import Any

import pytest

from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.runs import store as runs
from tests.packs_walk import add_pack, walk
from tests.support import RACE_MORNING, PageClient

WORKER = {"Pitapp-No-Redirect": "1"}


@pytest.fixture
def car(db: sqlite3.Connection) -> int:
    car_id, _ = kit.save_car(
        db,
        Car(name="Test car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63),
        RACE_MORNING,
    )
    return car_id


def refusal(response: Any) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(response.headers["Pitapp-Refusal"])
    return answer


def test_an_error_at_a_field_names_the_field(client: PageClient, car: int) -> None:
    response = client.post_form("/runs/new", {"can_c": "6l", "car_id": str(car)}, headers=WORKER)
    assert response.status_code == 422
    refused = refusal(response)
    (reason,) = refused["reasons"]
    assert (reason["field"], reason["name"]) == ("can_c", "Can temperature")
    assert reason["text"].startswith("Write a number here")
    assert reason["text"] in response.text
    assert refused["form"] is True


def test_a_change_from_another_screen_comes_with_its_version(
    client: PageClient, db: sqlite3.Connection, car: int
) -> None:
    client.post_form("/runs/new", {"can_c": "61", "car_id": str(car)})
    run = runs.runs(db, car_id=car, limit=1)[0]
    seen = json.dumps({"laps": ""})
    opened = {"version": str(run.version), "laps": "17", "car_id": str(car), "seen": seen}
    other = client.post_form(f"/runs/{run.id}/edit", opened | {"laps": "15"})
    assert other.status_code == 303
    response = client.post_form(f"/runs/{run.id}/edit", opened, headers=WORKER)
    assert response.status_code == 409
    refused = refusal(response)
    assert refused["version"] == str(runs.run(db, run.id).version) != opened["version"]
    assert ("laps", "On the other screen this became 15.") in {
        (reason["field"], reason["text"]) for reason in refused["reasons"]
    }


def test_a_charge_that_may_not_start_says_every_reason(
    client: PageClient, db: sqlite3.Connection
) -> None:
    charge = walk(db, add_pack(db), leave_out=("stay", "program"))
    response = client.post_form(f"/packs/charges/{charge}/start", headers=WORKER)
    assert response.status_code == 409
    texts = [reason["text"] for reason in refusal(response)["reasons"]]
    assert len(texts) >= 2
    assert all(text in html.unescape(response.text) for text in texts)


def test_an_error_page_is_a_reason(client: PageClient) -> None:
    response = client.post_form(f"/packs/charges/{uuid.uuid4()}/start", headers=WORKER)
    assert response.status_code == 404
    (reason,) = refusal(response)["reasons"]
    title, _, sentence = reason["text"].partition(": ")
    assert title in response.text
    assert sentence in response.text


def test_only_a_worker_is_told_and_only_of_refusals(client: PageClient, car: int) -> None:
    fit = {"pinion": "45", "spur": "66"}
    assert "Pitapp-Refusal" not in client.post_form("/gearing/fit", fit, headers=WORKER).headers
    wrong = client.post_form("/gearing/fit", fit | {"pinion": "2"})
    assert wrong.status_code == 422
    assert "Pitapp-Refusal" not in wrong.headers


@pytest.mark.parametrize("path", ["/gearing", "/runs/new"])
def test_a_page_names_the_token_of_its_forms(client: PageClient, car: int, path: str) -> None:
    page = client.get(path)
    token = page.headers["Pitapp-Token"]
    assert len(token) > 20
    assert f'name="csrf_token" value="{token}"' in page.text
    assert 'name="csrf_token" value=""' not in page.text
    assert page.text.count("csrf_token") == page.text.count(token)


def test_what_is_said_once_stands_between_marks(client: PageClient, car: int) -> None:
    client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"})
    before, _, rest = client.get("/gearing").text.partition("<!--notices-->")
    notices, _, after = rest.partition("<!--/notices-->")
    assert "undo-bar" in notices
    assert "undo-bar" not in before + after

"""Which database answers: named on every answer, and nothing is written to another than was meant."""

from __future__ import annotations

import re
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import cast

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.copies import store as copies
from pitapp.db import identity
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import RACE_MORNING, Clock, PageClient

NAMED = "Pitapp-Database"
FIT = {"pinion": "45", "spur": "66"}
FOREIGN = "0123456789abcdef" * 2


@pytest.fixture
def car(db: sqlite3.Connection) -> int:
    return add_car(db)


@pytest.fixture
def another(tmp_path: Path, clock: Clock) -> Iterator[Flask]:
    """The app over another data folder."""
    app = create_app(tmp_path / "another", clock=clock)
    app.test_client_class = PageClient
    yield app
    app.extensions["pitapp.db"].close()


def add_car(db: sqlite3.Connection) -> int:
    made, _ = kit.save_car(
        db,
        Car(name="Test car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63),
        RACE_MORNING,
    )
    return made


def identity_of(app: Flask) -> str:
    return identity.own(app.extensions["pitapp.db"].connection())


def test_each_data_folder_has_one_of_its_own_and_keeps_it(app: Flask, another: Flask) -> None:
    assert re.fullmatch("[0-9a-f]{32}", identity_of(app))
    assert identity_of(app) != identity_of(another)
    again = create_app(app.config["PITAPP_DATA_DIR"])
    assert identity_of(again) == identity_of(app)
    again.extensions["pitapp.db"].close()


def test_every_answer_names_the_database(app: Flask, client: PageClient) -> None:
    for path in (
        "/",
        "/token",
        "/offline/pages",
        "/static/css/base.css",
        "/no/such/page",
        "/sw.js",
    ):
        assert client.get(path).headers[NAMED] == identity_of(app), path
    assert client.post("/gearing/fit", data=FIT).headers[NAMED] == identity_of(app)
    stranger = client.get("/", environ_base={"REMOTE_ADDR": "192.168.7.20"})
    assert (stranger.status_code, stranger.headers[NAMED]) == (401, identity_of(app))


def test_a_page_says_whose_it_is(app: Flask, client: PageClient) -> None:
    assert f'data-database="{identity_of(app)}"' in client.get("/").text
    pairing = client.get("/", environ_base={"REMOTE_ADDR": "192.168.7.20"})
    assert f'name="made_for" value="{identity_of(app)}"' in pairing.text


@pytest.mark.parametrize("by", ["header", "field"])
def test_a_write_for_another_database_is_refused_and_for_this_one_taken(
    app: Flask, client: PageClient, db: sqlite3.Connection, car: int, by: str
) -> None:
    def send(meant: str) -> int:
        headers = {NAMED: meant} if by == "header" else {}
        field = {"made_for": meant} if by == "field" else {}
        return client.post_form("/gearing/fit", FIT | field, headers=headers).status_code

    assert send(FOREIGN) == 412
    assert gearing.log(db, car, 10, None) == []
    assert send(identity_of(app)) == 303
    assert len(gearing.log(db, car, 10, None)) == 1


def test_no_kind_of_write_is_taken_for_another_database(app: Flask, client: PageClient) -> None:
    """Also where it is no plain write, and whatever else would be said against it."""
    tried = 0
    for rule in app.url_map.iter_rules():
        if "POST" not in (rule.methods or ()):
            continue
        values = {name: uuid.uuid4() if name == "uuid" else 1 for name in rule.arguments}
        _, path = rule.build(values) or ("", "")
        answer = client.post(path, headers={NAMED: FOREIGN})
        assert answer.status_code == 412, path
        tried += 1
    assert tried > 50
    assert not (app.config["PITAPP_DATA_DIR"] / "copies").exists()


def test_htmx_is_answered_with_a_notice_that_leaves_the_form_alone(client: PageClient) -> None:
    headers = {NAMED: FOREIGN, "HX-Request": "true"}
    answer = client.post_form("/gearing/fit", FIT, headers=headers)
    assert (answer.status_code, answer.headers["HX-Reswap"]) == (412, "none")
    assert "Nothing was saved" in answer.text
    assert 'hx-swap-oob="true"' in answer.text


def test_a_redirect_is_given_as_a_header_to_who_asks_for_it(client: PageClient, car: int) -> None:
    headers = {"Pitapp-No-Redirect": "1", "Idempotency-Key": str(uuid.uuid4())}
    for _ in range(2):
        answer = client.post_form("/gearing/fit", FIT, headers=headers)
        assert (answer.status_code, answer.headers["Pitapp-Location"]) == (200, "/gearing")
        assert "Location" not in answer.headers
    assert "undo-bar" in client.get("/gearing").text


def test_a_copy_carries_its_origin_and_does_not_make_the_database_another(
    app: Flask, client: PageClient, another: Flask, tmp_path: Path, clock: Clock
) -> None:
    held = another.extensions["pitapp.db"].connection()
    own, origin, copy = identity_of(another), identity_of(app), tmp_path / "copy.sqlite3"
    add_car(app.extensions["pitapp.db"].connection())
    copies.write_copy(app.extensions["pitapp.db"].connection(), copy)
    assert identity.of_file(copy) == [origin]
    before = copies.restore(held, copy, another.config["PITAPP_DATA_DIR"], clock())
    assert (identity_of(another), identity.origins(held)) == (own, [origin])
    there = cast(PageClient, another.test_client())
    assert there.get("/token").headers["Pitapp-Origins"] == origin
    refused = there.post_form("/gearing/fit", FIT, headers={NAMED: origin})
    assert refused.status_code == 412
    assert "holds a copy of" in refused.text
    assert "is not the one" in there.post("/gearing/fit", headers={NAMED: FOREIGN}).text

    # A copy of the copy names both, and one that is brought back at home leaves no trace.
    copies.write_copy(held, copy)
    assert identity.of_file(copy) == [own, origin]
    copies.restore(held, before, another.config["PITAPP_DATA_DIR"], clock())
    assert identity.origins(held) == []


def test_the_file_of_everything_carries_its_origin(
    app: Flask, client: PageClient, another: Flask
) -> None:
    saved = client.get("/exchange/everything.json")
    assert saved.get_json()["origin"] == identity_of(app)
    assert "identities" not in saved.get_json()["tables"]
    there = cast(PageClient, another.test_client())
    take(there, saved.data)
    held = another.extensions["pitapp.db"].connection()
    assert identity.origins(held) == [identity_of(app)]
    assert there.get("/exchange/everything.json").get_json()["earlier_origins"] == [
        identity_of(app)
    ]
    assert there.post_form("/exchange/everything/put-back").status_code == 303
    assert identity.origins(held) == []


def take(client: PageClient, data: bytes) -> None:
    from io import BytesIO

    looked = client.post_form("/exchange/everything", {"file": (BytesIO(data), "all.json")})
    digest = re.search(r'name="digest"[^>]*value="([0-9a-f]+)"', looked.text)
    assert digest is not None
    taken = client.post_form("/exchange/everything/take", {"digest": digest[1]})
    assert taken.status_code == 303


def test_what_is_no_identity_in_a_copy_is_passed_over(
    db: sqlite3.Connection, tmp_path: Path, app: Flask, clock: Clock
) -> None:
    copies.write_copy(db, tmp_path / "copy.sqlite3")
    with closing(sqlite3.connect(tmp_path / "copy.sqlite3")) as copy:
        copy.execute("DELETE FROM identities")
        planted = "\r\nSet-Cookie: a=b; path=/        "
        copy.execute("INSERT INTO identities VALUES (5, ?), (6, ?)", (planted[:32], FOREIGN))
        copy.commit()
    own = identity.own(db)
    copies.restore(db, tmp_path / "copy.sqlite3", app.config["PITAPP_DATA_DIR"], clock())
    assert (identity.own(db), identity.origins(db)) == (own, [FOREIGN])


def test_invented_data_is_said_to_be(client: PageClient, tmp_path: Path) -> None:
    assert "Pitapp-Invented" not in client.get("/token").headers
    demo = create_app(tmp_path / "demo", invented=True)
    assert demo.test_client().get("/token").headers["Pitapp-Invented"] == "1"
    demo.extensions["pitapp.db"].close()

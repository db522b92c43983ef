"""Pages given out from memory are those that would be made now, whatever was written, and ask no clock."""

from __future__ import annotations

import ast
import re
import shutil
import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import datetime
from pathlib import Path
from threading import Event
from typing import cast

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.demo import fill
from pitapp.web.memory import Memory
from tests.house import PACKAGE, python_files, tree
from tests.support import Clock, PageClient

GEARING = "/gearing?spur=66&pinion=45"
QUERIES = ("", "?spur=66&pinion=45", "?kind=ratio&value=2.8", "?pitch=dp:64&kind=spur&taking=out")


def endpoints() -> list[str]:
    """Every view that is wrapped in `standing`."""
    return sorted(
        f"{file.parent.relative_to(PACKAGE).as_posix()}.{node.name}"
        for file in python_files(PACKAGE)
        for node in ast.walk(tree(file))
        if isinstance(node, ast.FunctionDef)
        and any(ast.unparse(each) == "standing" for each in node.decorator_list)
    )


class Stopped(Clock):
    """A clock that nobody may ask."""

    def __call__(self) -> datetime:
        raise AssertionError("the clock was asked")


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season") / "data"
    app = create_app(folder, clock=Clock())
    fill(app)
    app.extensions["pitapp.db"].close()
    return folder


@pytest.fixture
def demo(season: Path, tmp_path: Path) -> Iterator[Flask]:
    app = create_app(shutil.copytree(season, tmp_path / "demo"), clock=Clock())
    app.test_client_class = PageClient
    yield app
    app.extensions["pitapp.db"].close()


@pytest.fixture
def racer(demo: Flask) -> PageClient:
    client = cast(PageClient, demo.test_client())
    client.csrf_token()
    return client


def forget(app: Flask) -> None:
    app.extensions["pitapp.standing"] = Memory()


def kept(app: Flask) -> int:
    return len(app.extensions["pitapp.standing"])


def fitted(client: PageClient, pinion: int) -> None:
    assert client.post_form("/gearing/fit", {"pinion": pinion, "spur": 66}).status_code == 303


@pytest.mark.parametrize("endpoint", endpoints())
def test_it_asks_no_clock_and_comes_again_as_it_was(demo: Flask, endpoint: str) -> None:
    demo.extensions["pitapp.clock"] = Stopped()
    client = cast(PageClient, demo.test_client())
    client.csrf_token()
    [rule] = [rule for rule in demo.url_map.iter_rules() if rule.endpoint == endpoint]
    assert "GET" in (rule.methods or ())
    for query in QUERIES:
        before = kept(demo)
        made, again = client.get(rule.rule + query), client.get(rule.rule + query)
        assert made.status_code == again.status_code == 200
        assert kept(demo) == before + 1
        assert (again.data, dict(again.headers)) == (made.data, dict(made.headers))


def test_there_are_such_pages() -> None:
    assert "gearing.page" in endpoints()


def test_what_is_written_is_seen_at_once(racer: PageClient) -> None:
    fitted(racer, 41)
    for pinion in (42, 43):
        racer.get("/gearing")  # takes the notice away
        assert 'name="pinion" value="41"' in racer.get("/gearing").text or pinion == 43
        fitted(racer, pinion)
        racer.get("/")
        assert f'name="pinion" value="{pinion}"' in racer.get("/gearing").text


def test_what_another_program_writes_is_seen_at_once(demo: Flask, racer: PageClient) -> None:
    before = racer.get(GEARING).text
    assert racer.get(GEARING).text == before
    with closing(sqlite3.connect(demo.extensions["pitapp.db"].path)) as other, other:
        other.execute("UPDATE cars SET name = 'Renamed elsewhere'")
    assert "Renamed elsewhere" in racer.get(GEARING).text


def test_what_was_undone_is_seen_at_once(racer: PageClient) -> None:
    before = racer.get("/gearing").text
    fitted(racer, 41)
    token = racer.get("/gearing").text.split('action="/undo/')[1].split('"')[0]
    assert 'name="pinion" value="41"' in racer.get("/gearing").text
    racer.post_form(f"/undo/{token}", {"back": "/gearing"})
    racer.get("/")
    assert racer.get("/gearing").text == before


def test_a_write_that_was_taken_back_changes_nothing(demo: Flask, racer: PageClient) -> None:
    before = racer.get(GEARING).text
    answer = racer.post_form("/gearing/fit", {"pinion": "many", "spur": 66})
    assert answer.status_code == 422
    assert racer.get(GEARING).text == before
    assert kept(demo) == 1


def test_a_notice_is_shown_once_and_never_kept(demo: Flask, racer: PageClient) -> None:
    fitted(racer, 41)
    assert "Fitted 41 / 66" in racer.get("/gearing").text
    assert kept(demo) == 0
    assert "Fitted 41 / 66" not in racer.get("/gearing").text
    assert kept(demo) == 1


def test_a_page_and_its_fragment_are_two(racer: PageClient) -> None:
    page = racer.get(GEARING).text
    part = racer.get(GEARING, headers={"HX-Request": "true"}).text
    assert page.startswith("<!doctype html>")
    assert part.startswith('<div id="gearing-part"')
    assert racer.get(GEARING).text == page


def test_each_device_has_its_own_token_and_look(demo: Flask, racer: PageClient) -> None:
    other = cast(PageClient, demo.test_client())
    other.csrf_token()
    mine, theirs = (each.get(GEARING).text for each in (racer, other))
    assert mine != theirs
    racer.set_cookie("pitapp_theme", "glare")
    assert 'data-theme="glare"' in racer.get(GEARING).text
    assert other.get(GEARING).text == theirs


def test_the_racers_unit_is_that_of_now(racer: PageClient) -> None:
    assert "km/h" in racer.get(GEARING).text
    units = {f"{kind}_unit": "metric" for kind in ("temperature", "mass", "length")}
    racer.post_form("/settings/units", {**units, "speed_unit": "imperial"})
    racer.get("/")
    assert "mph" in racer.get(GEARING).text


def test_a_page_that_makes_the_devices_first_token_is_not_kept(demo: Flask) -> None:
    client = demo.test_client()
    assert "Set-Cookie" in client.get(GEARING).headers
    assert kept(demo) == 0
    client.get(GEARING)
    assert kept(demo) == 1


@pytest.mark.parametrize("query", ["?spur=0", "?spur=" + "6" * 2000])
def test_a_wrong_or_endless_address_is_not_kept(demo: Flask, racer: PageClient, query: str) -> None:
    assert racer.get(f"/gearing{query}").status_code == 422
    assert kept(demo) == 0


def test_a_folder_that_is_gone_is_told_also_of_a_page_in_memory(
    demo: Flask, racer: PageClient
) -> None:
    assert racer.get(GEARING).status_code == racer.get(GEARING).status_code == 200
    path: Path = demo.extensions["pitapp.db"].path
    path.rename(path.with_name("elsewhere"))
    answer = racer.get(GEARING)
    assert answer.status_code == 503
    assert "The data folder is gone" in answer.text


def test_nobody_sees_an_older_gear_after_a_newer(demo: Flask, racer: PageClient) -> None:
    """Four devices look again and again while gears are fitted; who fits one sees it at once."""
    fitted_now = re.compile(r'id="pinion" name="pinion" value="(\d+)"')
    stop = Event()

    def look() -> list[int]:
        device, found = demo.test_client(), []
        device.get("/token")
        while not stop.is_set():
            [teeth] = fitted_now.findall(device.get("/gearing").text)
            found.append(int(teeth))
        return found

    fitted(racer, 20)
    with ThreadPoolExecutor(4) as devices:
        looking = [devices.submit(look) for _ in range(4)]
        try:
            for pinion in range(21, 61):
                fitted(racer, pinion)
                racer.get("/")
                assert fitted_now.findall(racer.get("/gearing").text) == [str(pinion)]
        finally:
            stop.set()
        seen = [each.result(30) for each in looking]
    for found in seen:
        assert found == sorted(found)
        assert len(set(found)) > 5

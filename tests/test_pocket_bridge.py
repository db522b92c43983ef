"""The bridge between a browser and the app, with no network between them."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlencode

import pytest

from pitapp import create_app
from pitapp.copies.store import list_copies
from pitapp.demo import fill
from pitapp.pocket.bridge import COOKIES, Bridge, start
from pitapp.web.http.assets import as_sent
from pitapp.web.view.nav import FOOT, MORE

ROOT = "/club/pit/app"
FORM = [["Content-Type", "application/x-www-form-urlencoded"]]
CAR = {"name": "Invented TC", "internal_ratio": "1.9", "pitch": "48 dp", "tyre_mm": "63"}


class Addresses(HTMLParser):
    """The addresses in a page by which a browser goes on or fetches something."""

    NAMES = frozenset(("href", "action", "formaction", "src", "hx-get", "hx-post", "poster"))

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value or "" for name, value in attrs if name in self.NAMES]
        for name, value in attrs:
            if name == "data-coming" and value and value.startswith("["):
                coming = json.loads(value)
                self.found += [each["href"] for each in coming if "href" in each]
                self.found += [each["log"]["href"] for each in coming if each.get("log")]


def bridge_over(folder: Path) -> Bridge:
    app = create_app(folder)
    app.config["PITAPP_IN_BROWSER"] = True
    return Bridge(app, ROOT)


@pytest.fixture
def bridge(tmp_path: Path) -> Bridge:
    return bridge_over(tmp_path / "data")


def get(bridge: Bridge, target: str) -> str:
    status, _, content = bridge.answer("GET", target, "[]", b"")
    assert status == 200, f"{target} answered {status}"
    return content.decode()


def post(bridge: Bridge, target: str, fields: dict[str, str]) -> tuple[int, dict[str, str]]:
    token = re.search(r'name="csrf_token"[^>]* value="([^"]+)"', get(bridge, "/settings"))
    assert token
    body = urlencode({**fields, "csrf_token": token[1]}).encode()
    status, headers, _ = bridge.answer("POST", target, json.dumps(FORM), memoryview(body))
    return status, dict(headers)


def test_every_own_address_lies_in_the_folder(tmp_path: Path) -> None:
    app = create_app(tmp_path / "data", invented=True)
    fill(app)
    bridge = Bridge(app, ROOT)
    waiting, seen = [place.path for place in (*FOOT, *MORE)], set[str]()
    while waiting and len(seen) < 120:
        target = waiting.pop(0)
        if target in seen:
            continue
        seen.add(target)
        status, headers, content = bridge.answer("GET", target, "[]", b"")
        kind = dict(headers).get("Content-Type", "")
        if status != 200 or not kind.startswith("text/html"):
            continue
        for address in Addresses(content.decode()).found:
            outside = address.startswith("/") and not address.startswith(f"{ROOT}/")
            assert not outside, f"{address} on {target}"
            if address.startswith(f"{ROOT}/") and "/static/" not in address:
                waiting.append(address.removeprefix(ROOT).split("#")[0])
    assert len(seen) == 120


def test_a_form_is_saved_and_sends_on_into_the_folder(bridge: Bridge) -> None:
    status, headers = post(bridge, "/settings/units", {
        "speed_unit": "imperial", "temperature_unit": "metric", "mass_unit": "metric", "length_unit": "metric",
    })  # fmt: skip
    assert (status, headers["Location"]) == (303, f"{ROOT}/settings")
    assert "Units saved" in get(bridge, "/settings")


def test_a_forged_form_is_refused(bridge: Bridge) -> None:
    status, _, _ = bridge.answer("POST", "/settings/units", json.dumps(FORM), b"speed_unit=metric")
    assert status == 400


def test_cookies_are_kept_as_a_browser_would(bridge: Bridge, tmp_path: Path) -> None:
    assert 'data-theme="dark"' not in get(bridge, "/")
    status, headers = post(bridge, "/settings/look", {"theme": "dark"})
    assert status == 303
    assert "Set-Cookie" not in headers
    assert 'data-theme="dark"' in get(bridge, "/")
    assert 'data-theme="dark"' in get(bridge_over(tmp_path / "data"), "/")


def test_pages_may_stand_in_a_frame_of_their_own_folder_only(bridge: Bridge) -> None:
    _, headers, _ = bridge.answer("GET", "/", "[]", b"")
    found = dict(headers)
    assert "frame-ancestors 'self'" in found["Content-Security-Policy"]
    assert "default-src 'none'" in found["Content-Security-Policy"]
    assert found["X-Frame-Options"] == "SAMEORIGIN"


def test_what_is_no_page_is_passed_on_as_it_is(bridge: Bridge) -> None:
    address = re.search(rf'src="{ROOT}(/static/js/offline\.js[^"]*)"', get(bridge, "/"))
    assert address
    _, headers, content = bridge.answer("GET", address[1], "[]", b"")
    own = Path(__file__).parents[1] / "static" / "js" / "offline.js"
    assert content == as_sent(own)
    assert dict(headers)["Content-Type"].startswith("text/javascript")


def test_what_needs_a_server_is_not_offered(bridge: Bridge) -> None:
    for target in ("/more", "/settings"):
        links = Addresses(get(bridge, target)).found
        assert f"{ROOT}/gearing" in links
        assert not {f"{ROOT}/devices", f"{ROOT}/outbox"} & set(links), target


def test_files_are_asked_for_by_way_of_the_service_worker(bridge: Bridge) -> None:
    page = get(bridge, "/exchange")
    assert f'href="{ROOT}/exchange/everything.json"' in page
    assert not re.search(r"<a\s[^>]*\sdownload[\s>]", page)
    _, headers, _ = bridge.answer("GET", "/exchange/everything.json", "[]", b"")
    assert dict(headers)["Content-Disposition"].startswith("attachment")


def test_cookies_that_a_full_device_cut_off_are_no_obstacle(
    bridge: Bridge, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> int:
        raise OSError(28, "No space left on device")

    post(bridge, "/settings/look", {"theme": "dark"})
    with monkeypatch.context() as patch:
        patch.setattr(Path, "write_text", full)
        status, _ = post(bridge, "/settings/look", {"theme": "light"})
        assert status == 303
    (tmp_path / "data" / COOKIES).write_text('{"session": "', encoding="utf-8")
    assert "Settings" in get(bridge_over(tmp_path / "data"), "/settings")


def test_the_copy_of_the_day_is_made_between_requests(bridge: Bridge, tmp_path: Path) -> None:
    folder = tmp_path / "data"

    def daily() -> list[str]:
        return [copy.name for copy in list_copies(folder) if copy.why == "daily"]

    get(bridge, "/")
    assert daily() == []
    bridge.rest()
    assert len(daily()) == 1
    bridge.rest()
    assert len(daily()) == 1


def test_a_copy_of_the_day_that_finds_no_room_is_deleted(bridge: Bridge, tmp_path: Path) -> None:
    bridge.give_up()
    bridge.rest()
    bridge.give_up()
    assert list_copies(tmp_path / "data") == []


def test_what_a_killed_browser_left_half_done_is_cleared_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", "UTC")
    get(start(str(tmp_path), ROOT, "Europe/Lisbon"), "/")
    left = tmp_path / ".uploaded-0123456789abcdef.sqlite3"
    left.write_bytes(b"half")
    get(start(str(tmp_path), ROOT, "Europe/Lisbon"), "/")
    assert not left.exists()

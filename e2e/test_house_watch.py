"""The watch over pages: what it must notice, shown on a small app that misbehaves."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from flask import Flask
from playwright.sync_api import BrowserContext, Page, expect

from e2e.server import Served
from e2e.watch import Watch, is_foreign
from pitapp.web.server import make_server

HEAD = "<!doctype html><html lang=en><title>A page</title><link rel=icon href=data:,>"
PAGES = {
    "/quiet": "<p>Quiet</p>",
    "/inline": "<script>document.title = 'run'</script>",
    "/throws": "<script src=/throws.js></script>",
    "/complains": "<script src=/complains.js></script>",
    "/missing": "<script src=/none.js></script>",
    "/foreign": "<script src=http://elsewhere.example/a.js></script>",
}
SCRIPTS = {
    "/throws.js": "throw new TypeError('no gear')",
    "/complains.js": "console.error('lost a tooth')",
}


@pytest.fixture(scope="module")
def small_app() -> Iterator[Served]:
    app = Flask(__name__)
    for path, body in PAGES.items():
        policy = "script-src 'self'" if path == "/inline" else "script-src *"
        head = {"Content-Security-Policy": policy}
        app.add_url_rule(path, path, lambda body=body, head=head: (HEAD + body, head))
    for path, body in SCRIPTS.items():
        head = {"Content-Type": "text/javascript"}
        app.add_url_rule(path, path, lambda body=body, head=head: (body, head))
    served = Served(app, make_server)
    yield served
    served.stop()


@pytest.fixture
def loose(small_app: Served, context: BrowserContext, watch: Watch) -> Iterator[Watch]:
    """A second watch over the same pages; the test's own is told to accept everything."""
    second = Watch()
    second.servers.add(small_app.netloc)
    second.over(context)
    watch.allow("")
    yield second
    watch.servers |= {small_app.netloc, "elsewhere.example"}


def until_something_is_noticed(page: Page, watch: Watch) -> None:
    for _ in range(600):
        if watch.unexpected():
            break
        page.wait_for_timeout(50)


@pytest.mark.every_engine
def test_a_quiet_page_passes(small_app: Served, page: Page, loose: Watch) -> None:
    page.goto(f"{small_app.url}/quiet")
    loose.verify()
    assert loose.requests == [f"{small_app.url}/quiet"]


@pytest.mark.every_engine
@pytest.mark.parametrize(
    ("path", "fault"),
    [
        ("/inline", "Content.Security.Policy"),
        ("/throws", "no gear"),
        ("/complains", "lost a tooth"),
        ("/missing", "status of 404"),
    ],
)
def test_each_fault_fails(
    small_app: Served, page: Page, loose: Watch, path: str, fault: str
) -> None:
    page.goto(small_app.url + path)
    until_something_is_noticed(page, loose)
    with pytest.raises(AssertionError, match=fault):
        loose.verify()


def test_a_fault_brought_about_on_purpose_can_be_allowed(
    small_app: Served, page: Page, loose: Watch
) -> None:
    page.goto(f"{small_app.url}/missing")
    until_something_is_noticed(page, loose)
    assert loose.unexpected() != []
    loose.allow("status of 404")
    loose.verify()


def test_a_request_to_another_host_fails(small_app: Served, page: Page, loose: Watch) -> None:
    page.route("http://elsewhere.example/**", lambda route: route.fulfill(body=""))
    page.goto(f"{small_app.url}/foreign")
    with pytest.raises(AssertionError, match=r"elsewhere\.example/a\.js"):
        loose.verify()


@pytest.mark.parametrize(
    ("url", "foreign"),
    [
        ("http://127.0.0.1:8080/gearing", False),
        ("data:image/png;base64,AAAA", False),
        ("blob:http://127.0.0.1:8080/1", False),
        ("about:blank", False),
        ("http://127.0.0.1:8081/gearing", True),
        ("https://127.0.0.1.example/", True),
        ("wss://elsewhere.example/", True),
    ],
)
def test_what_counts_as_another_host(url: str, foreign: bool) -> None:
    assert is_foreign(url, ["127.0.0.1:8080"]) is foreign


def test_the_screen_is_a_phones(
    small_app: Served, watch: Watch, new_context: Callable[..., BrowserContext]
) -> None:
    watch.servers.add(small_app.netloc)
    page = new_context().new_page()
    page.goto(f"{small_app.url}/quiet")
    expect(page.get_by_text("Quiet")).to_be_visible()
    size = "() => [screen.width, screen.height, devicePixelRatio, navigator.maxTouchPoints > 0]"
    assert page.evaluate(size) == [360, 640, 2, True]

"""The vectors that the server's gear train and the phone's must both meet; here the phone's."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from e2e.watch import Watch
from tests.test_gearing_vectors import VECTORS, agree

ROOT = Path(__file__).parents[1]
POLICY = "default-src 'none'; script-src 'self'; img-src data:"
BLANK = b"<!doctype html><html lang=en><title>Blank</title><link rel=icon href=data:,>"
RUN = """async (vectors) => {
    const offered = {
        ...(await import("/static/js/gearing.js")),
        ...(await import("/static/js/numbers.js")),
    };
    const camel = (name) => name.replace(/_(.)/g, (_, letter) => letter.toUpperCase());
    return vectors.map(({function: name, args}) => {
        try {
            return {answer: offered[camel(name)](...args)};
        } catch (error) {
            return {error: error.message, kind: error.name};
        }
    });
}"""


class Files(SimpleHTTPRequestHandler):
    """The repository's static files and a blank page, under a policy that runs files only."""

    def do_GET(self) -> None:
        if self.path.startswith("/static/"):
            super().do_GET()
            return
        self.send_response(200)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.end_headers()
        self.wfile.write(BLANK)

    def end_headers(self) -> None:
        self.send_header("Content-Security-Policy", POLICY)
        super().end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@pytest.fixture
def files(watch: Watch) -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Files, directory=str(ROOT)))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    watch.servers.add(f"127.0.0.1:{server.server_port}")
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


def met(vector: dict[str, Any], result: dict[str, Any]) -> bool:
    """Tell whether the phone's result is the vector's answer, or its sentence in a RangeError."""
    if "error" in vector:
        return result == {"error": vector["error"], "kind": "RangeError"}
    return "error" not in result and agree(result["answer"], vector["expect"])


def test_the_phone_meets_every_vector(files: str, page: Page) -> None:
    page.goto(files)
    results = page.evaluate(RUN, VECTORS)
    assert len(results) == len(VECTORS)
    missed = [
        {**vector, "found": result}
        for vector, result in zip(VECTORS, results, strict=True)
        if not met(vector, result)
    ]
    assert missed == [], json.dumps(missed, ensure_ascii=False, indent=1)


def test_a_wrong_answer_would_be_noticed() -> None:
    assert met({"expect": 3.0}, {"answer": 3})
    assert not met({"expect": 3.0}, {"answer": 3.0001})
    assert not met({"expect": 3.0}, {"error": "No.", "kind": "RangeError"})
    assert met({"error": "No."}, {"error": "No.", "kind": "RangeError"})
    assert not met({"error": "No."}, {"error": "No.", "kind": "TypeError"})
    assert not met({"error": "No."}, {"answer": 3.0})

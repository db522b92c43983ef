"""What several kinds of test need: a clock to set, and a client that posts as a page does."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

RACE_MORNING = datetime(2026, 5, 16, 9, 0, tzinfo=UTC)


class Clock:
    """A clock that stands still until a test moves it."""

    def __init__(self, now: datetime = RACE_MORNING) -> None:
        self._now = now

    def __call__(self) -> datetime:
        return self._now

    def set(self, now: datetime) -> None:
        if now.tzinfo is None:
            raise ValueError("The clock needs a moment with its time zone.")
        self._now = now

    def tick(self, seconds: float) -> None:
        self._now += timedelta(seconds=seconds)


@contextmanager
def serving(*options: str | Path) -> Iterator[str]:
    """`pitapp serve` with these options, as a process of its own, and what it says as it starts."""
    process = subprocess.Popen(
        [sys.executable, "-u", "-m", "pitapp", "serve", *map(str, options)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        assert process.stdout is not None
        said = ""
        for line in process.stdout:
            said += line
            if line.startswith("Data:"):
                break
        yield said
    finally:
        process.kill()
        process.wait(60)


SPACES = re.compile(r"(?P<typed>(?<=>)[^<]*(?=</(?:textarea|pre)>))|[ \t\r\n]+")


def one_space(html: str) -> str:
    """
    Return a page with one space where there are spaces and line breaks, but in what is typed in several lines.

    >>> one_space("<p\\n  id='a'>a\\n  b</p><textarea>1\\n2</textarea>")
    "<p id='a'>a b</p><textarea>1\\n2</textarea>"
    """
    return SPACES.sub(lambda run: " " if run["typed"] is None else run["typed"], html)


class PageClient(FlaskClient):
    """
    Posts forms the way a page does, with the token that a page carries, and reads pages as a browser does: where the
    lines of a template break is its own business.
    """

    def open(self, *args: Any, **options: Any) -> TestResponse:
        answer = super().open(*args, **options)
        if answer.mimetype == "text/html" and not answer.content_encoding:
            answer.set_data(one_space(answer.get_data(as_text=True)))
        return answer

    def csrf_token(self) -> str:
        """Return a token as a page's form would carry it."""
        answer = self.get("/token")
        if answer.status_code != 200:
            raise AssertionError(f"/token answered {answer.status}")
        return answer.get_data(as_text=True)

    def post_form(
        self, url: str, data: dict[str, Any] | None = None, **options: Any
    ) -> TestResponse:
        """Post `data` as a form with a token."""
        return self.post(url, data={"csrf_token": self.csrf_token(), **(data or {})}, **options)

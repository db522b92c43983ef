"""Notices: a sentence on what was done, said once on the next page. Each belongs to its write and fails with it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from flask import Flask, flash, g, session

UNREAD = "_flashes"
MOST_UNREAD = 5
"""They are kept in a cookie, and browsers pass over one of more than 4 kB: a phone that sends a day's
entries reads no page between them."""
REFUSED = "refused"
"""The category of a sentence on what was not done, for the page that is the answer."""
Notices = list[tuple[str, str]]
"""Each as its category and its sentence, in the order in which they were said."""


class Refusal(Exception):
    """Ends a write with a finished answer that has shown the unread notices."""


def say(sentence: str, category: str) -> None:
    """Say this on the next page, if the write that is going on succeeds.

    Raises:
        RuntimeError: there is no write going on.
    """
    pending: Notices | None = g.get("said")
    if pending is None:
        raise RuntimeError("A notice belongs to a write: wrap the view in `write` or `once`.")
    pending.append((category, sentence))
    flash(sentence, category)
    session[UNREAD] = session[UNREAD][-MOST_UNREAD:]


def unread() -> Notices:
    """Notices not shown on any page yet."""
    return list(session.get(UNREAD, ()))


def read() -> Notices:
    """Unread notices for the page being made; the same list for the whole page."""
    if "notices" not in g:
        g.notices = unread()
        session.pop(UNREAD, None)
    unread_notices: Notices = g.notices
    return unread_notices


@contextmanager
def of_one_write() -> Iterator[Notices]:
    """Collect a write's notices: kept if the block succeeds, dropped if it fails."""
    before = unread()
    g.said = []
    try:
        yield g.said
    except BaseException as error:
        on_the_answer = isinstance(error, Refusal) and "notices" in g
        g.pop("notices", None)
        session.pop(UNREAD, None)
        if before and not on_the_answer:
            session[UNREAD] = before
        raise
    finally:
        g.said = None


def register(app: Flask) -> None:
    """Offer `notices()` to templates."""
    app.jinja_env.globals["notices"] = read

"""The session cookie and the token, each signed or checked once and then remembered.

A signature is right or wrong for ever (neither has a time limit here), so the answer may be kept.
"""

from __future__ import annotations

from collections import OrderedDict
from typing import Any

from flask import Flask, Request, session
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface
from flask_wtf.csrf import generate_csrf

REMEMBERED = 256
LONGEST_COOKIE = 4096


class Remembered(OrderedDict[str, Any]):
    """The latest few answers."""

    def keep(self, key: str, value: Any) -> None:
        """Remember `value`, forgetting the oldest when there are too many."""
        self[key] = value
        if len(self) > REMEMBERED:
            self.popitem(last=False)


class Sessions(SecureCookieSessionInterface):
    """Flask's own signed cookie; one that was checked before is not checked again."""

    def __init__(self) -> None:
        self._checked = Remembered()

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        """The session of the request's cookie."""
        cookie = request.cookies.get(self.get_cookie_name(app), "")
        known = self._checked.get(cookie)
        if known is not None:
            return self.session_class(known)
        opened = super().open_session(app, request)
        if opened and len(cookie) <= LONGEST_COOKIE and "_flashes" not in opened:
            self._checked.keep(cookie, dict(opened))
        return opened


def register(app: Flask) -> None:
    """Keep sessions so, and offer `csrf_token` to templates."""
    signed = Remembered()

    def csrf_token() -> str:
        raw = session.get("csrf_token", "")
        if raw not in signed:
            token: str = generate_csrf()
            signed.keep(session["csrf_token"], token)
            return token
        known: str = signed[raw]
        return known

    app.session_interface = Sessions()
    app.jinja_env.globals["csrf_token"] = csrf_token

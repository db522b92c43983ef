"""The session cookie and the token, each signed or checked once and then remembered.

A signature is right or wrong for ever (neither has a time limit here), so the answer may be kept.
No clock is asked, neither the server's nor the browser's: one that jumps throws nobody's page away.
"""

from __future__ import annotations

import hashlib
import re

from flask import Flask, Request, Response, session
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface, SessionMixin
from flask_wtf.csrf import generate_csrf
from itsdangerous import BadSignature

from pitapp.web.compress import vary
from pitapp.web.memory import Memory

MOST = 256
LONGEST_COOKIE = 4096
EXPIRES = re.compile(r"Expires=[^;]+")


class Sessions(SecureCookieSessionInterface):
    """Flask's own signed cookie; one that was checked before is not checked again."""

    digest_method = staticmethod(hashlib.sha256)

    def __init__(self) -> None:
        self._checked = Memory(MOST)

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        """The session of the request's cookie."""
        cookie = request.cookies.get(self.get_cookie_name(app), "")
        known = self._checked.get(cookie)
        if known is not None:
            return self.session_class(known)
        opened = self._opened(app, cookie)
        if opened and len(cookie) <= LONGEST_COOKIE and "_flashes" not in opened:
            self._checked.keep(cookie, dict(opened))
        return opened

    def _opened(self, app: Flask, cookie: str) -> SecureCookieSession:
        serializer = self.get_signing_serializer(app)
        try:
            return self.session_class(serializer.loads(cookie) if cookie and serializer else None)
        except BadSignature:
            return self.session_class()

    def save_session(self, app: Flask, session: SessionMixin, response: Response) -> None:
        """Set the cookie where it changed, with its life told as a length and not as a date."""
        if not session.modified:
            if session.accessed:
                vary(response, "Cookie")
            return
        super().save_session(app, session, response)
        life = f"Max-Age={int(app.permanent_session_lifetime.total_seconds())}"
        name = f"{self.get_cookie_name(app)}="
        told = response.headers.getlist("Set-Cookie")
        if any(each.startswith(name) for each in told):
            response.headers.setlist(
                "Set-Cookie",
                [EXPIRES.sub(life, each) if each.startswith(name) else each for each in told],
            )


def register(app: Flask) -> None:
    """Keep sessions so, and offer `csrf_token` to templates."""
    signed = Memory(MOST)

    def csrf_token() -> str:
        token: str | None = signed.get(session.get("csrf_token"))
        if token is None:
            token = generate_csrf()
            signed.keep(session["csrf_token"], token)
        return token

    app.session_interface = Sessions()
    app.jinja_env.globals["csrf_token"] = csrf_token

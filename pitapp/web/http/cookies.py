"""The session cookie: signed with SHA-256, its life told as a length.

No clock is asked, neither the server's nor the browser's: one that jumps throws nobody's page away.
"""

from __future__ import annotations

import hashlib
import re

from flask import Flask, Request, Response
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface, SessionMixin
from itsdangerous import BadSignature

EXPIRES = re.compile(r"Expires=[^;]+")


class CookieSessions(SecureCookieSessionInterface):
    """Flask's own signed cookie, with `Max-Age` in place of a date."""

    digest_method = staticmethod(hashlib.sha256)

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession:
        """The session of the request's cookie, however old it is; a new one if the signature is wrong."""
        cookie = request.cookies.get(self.get_cookie_name(app))
        serializer = self.get_signing_serializer(app)
        try:
            return self.session_class(serializer.loads(cookie) if cookie and serializer else None)
        except BadSignature:
            return self.session_class()

    def save_session(self, app: Flask, session: SessionMixin, response: Response) -> None:
        """Set the cookie where it changed."""
        super().save_session(app, session, response)
        max_age = f"Max-Age={int(app.permanent_session_lifetime.total_seconds())}"
        name = f"{self.get_cookie_name(app)}="
        cookies = response.headers.getlist("Set-Cookie")
        if any(cookie.startswith(name) for cookie in cookies):
            response.headers.setlist(
                "Set-Cookie",
                [EXPIRES.sub(max_age, each) if each.startswith(name) else each for each in cookies],
            )


def register(app: Flask) -> None:
    """Keep the app's sessions so."""
    app.session_interface = CookieSessions()

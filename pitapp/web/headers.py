"""Security headers on every answer, and a session that lasts the season."""

from __future__ import annotations

from flask import Flask, Response, session

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": (
        "accelerometer=(self), gyroscope=(self), camera=(), microphone=(), geolocation=(), "
        "payment=(), usb=()"
    ),
}


def register(app: Flask) -> None:
    """Add the headers to every answer."""

    def add(response: Response) -> Response:
        response.headers.extend(HEADERS)
        if "Cache-Control" not in response.headers:
            response.headers["Cache-Control"] = "no-cache"
        return response

    def keep_session() -> None:
        if not session.permanent:
            session.permanent = True

    app.after_request(add)
    app.before_request(keep_session)

"""The guard at the door: known hosts, forms of a sane size, security headers on every answer."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, abort, request, session

from pitapp.addresses import parsed

if TYPE_CHECKING:
    from wsgiref.types import StartResponse, WSGIEnvironment

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
PERMISSIONS = "Permissions-Policy"
_ALLOWED = (
    "accelerometer=(self), gyroscope=(self), camera=(), microphone=(), geolocation=(), "
    "payment=(), usb=()"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    PERMISSIONS: _ALLOWED,
}
# What governs a document alone says nothing of a script or style sheet: 3 kB of a first visit.
_OF_DOCUMENTS = {"X-Frame-Options", "Cross-Origin-Opener-Policy", PERMISSIONS}
_NO_DOCUMENTS = ("text/css", "text/javascript", "application/javascript")


_IN_BRACKETS = re.compile(r"\[([0-9a-fA-F:.]+)\](?::\d*)?", re.ASCII)


def hostname(host: str) -> str:
    """The name in a Host header, without its port; an address in its one short form.

    >>> hostname("localhost:8510"), hostname("[::1]:8510"), hostname("[0:0:0:0:0:0:0:1]")
    ('localhost', '[::1]', '[::1]')
    """
    address = _IN_BRACKETS.fullmatch(host)
    if address is None:
        return host.partition(":")[0].lower()
    ip = parsed(address[1])
    return f"[{ip}]" if ip and ip.version == 6 else str(ip or "")


def with_microphone(response: Response) -> Response:
    """Let the page of this answer ask for the microphone."""
    response.headers[PERMISSIONS] = _ALLOWED.replace("microphone=()", "microphone=(self)")
    return response


def _names(status: str, content_type: str) -> Iterable[str]:
    """Which headers an answer needs; to one "not modified" those that came with the content hold (RFC 9111, 3.2)."""
    if status.startswith("304"):
        return ()
    left_out = _OF_DOCUMENTS if content_type.startswith(_NO_DOCUMENTS) else set[str]()
    return [name for name in HEADERS if name not in left_out]


def _too_long(most: int) -> bool:
    form = request.mimetype == "application/x-www-form-urlencoded"
    return form and (request.content_length or 0) > most


def register(app: Flask) -> None:
    """Refuse other hosts and oversized forms, and add the headers to every answer."""

    def guard() -> None:
        environ = request.environ
        if hostname(environ.get("HTTP_HOST", "")) not in app.config["PITAPP_HOSTS"]:
            abort(400, description="wrong host")
        if environ.get("CONTENT_LENGTH") and _too_long(app.config["MAX_FORM_MEMORY_SIZE"]):
            abort(413)
        if not session.permanent:
            session.permanent = True

    inner = app.wsgi_app

    def secured(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        def start(status: str, headers: list[tuple[str, str]], *failure: Any) -> Any:
            given = dict(headers)
            headers += [
                (name, HEADERS[name])
                for name in _names(status, given.get("Content-Type", ""))
                if not (name == PERMISSIONS and name in given)
            ]
            if "Cache-Control" not in given:
                headers.append(("Cache-Control", "no-cache"))
            return start_response(status, headers, *failure)

        return inner(environ, start)

    app.wsgi_app = secured  # type: ignore[method-assign]
    app.before_request(guard)

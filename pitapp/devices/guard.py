"""The guard: this machine and paired devices come in, any other device meets the pairing page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from uuid import uuid4

from flask import Flask, Request, Response, make_response, render_template, request
from flask_wtf.csrf import generate_csrf

from pitapp.addresses import is_this_machine
from pitapp.db import get_db
from pitapp.devices import store
from pitapp.devices.guesses import Guesses
from pitapp.web.clock import present

if TYPE_CHECKING:
    from wsgiref.types import WSGIEnvironment

UNPAIRED_HEADER = "Pitapp-Unpaired"
OPEN = {"devices.pair", "devices.let_in", "devices.look", "devices.forget"}


def cookie_name(app: Flask) -> str:
    """The name of the cookie that a paired device holds."""
    return f"{app.config['SESSION_COOKIE_NAME']}_device"


def register(app: Flask) -> None:
    """Put the guard before everything else that looks at a request, and let the server ask it."""

    def vouch(environ: WSGIEnvironment) -> bool:
        token = Request(environ).cookies.get(cookie_name(app), "")
        connection = app.extensions["pitapp.db"].connection() if token else None
        return connection is not None and store.device_by_token(connection, token) is not None

    def guard() -> Any:
        if is_this_machine(request.remote_addr):
            return None
        token = request.cookies.get(cookie_name(app), "")
        device = store.device_by_token(get_db(), token) if token else None
        if device is not None:
            store.note_seen(get_db(), device, request.remote_addr or "", present())
            return None
        if request.endpoint in OPEN:
            return None
        answer = unpaired()
        if token:
            answer.headers["Clear-Site-Data"] = '"cache"'
        return answer

    app.before_request(guard)
    app.extensions["pitapp.vouch"] = vouch
    app.extensions["pitapp.guesses"] = Guesses()


def unpaired() -> Response:
    """The pairing page, for any address that an unpaired device asks for."""
    return pairing_page(401)


def pairing_page(status: int, *, code: str = "", name: str = "", error: str = "") -> Response:
    """The page on which a device is paired."""
    answer = make_response(
        render_template(
            "devices/pair.html",
            code=code,
            name=name,
            error=error,
            token=generate_csrf(),
            key=uuid4(),
            removed=status == 401,
        ),
        status,
    )
    answer.headers[UNPAIRED_HEADER] = "1"
    answer.headers["Cache-Control"] = "no-store"
    return answer

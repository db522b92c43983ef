"""The guard: this machine and paired devices come in, any other device meets the pairing page."""

from __future__ import annotations

from ipaddress import IPv6Address, ip_address
from typing import Any
from uuid import uuid4

from flask import Flask, Response, make_response, render_template, request
from flask_wtf.csrf import generate_csrf

from pitapp.db import get_db
from pitapp.devices import store
from pitapp.web.clock import present

UNPAIRED_HEADER = "Pitapp-Unpaired"
OPEN = {"devices.pair", "devices.let_in", "devices.look"}


def is_this_machine(address: str | None) -> bool:
    """Whether a request comes from the machine that the server runs on.

    >>> is_this_machine("127.0.0.1"), is_this_machine("::ffff:127.0.0.1"), is_this_machine("192.168.1.7")
    (True, True, False)
    """
    if address == "127.0.0.1":
        return True
    try:
        found = ip_address(address or "")
    except ValueError:
        return False
    if isinstance(found, IPv6Address) and found.ipv4_mapped:
        found = found.ipv4_mapped
    return found.is_loopback


def cookie_name(app: Flask) -> str:
    """The name of the cookie that a paired device holds."""
    return f"{app.config['SESSION_COOKIE_NAME']}_device"


def register(app: Flask) -> None:
    """Put the guard before everything else that looks at a request."""

    def guard() -> Any:
        if is_this_machine(request.remote_addr):
            return None
        token = request.cookies.get(cookie_name(app), "")
        device = store.known(get_db(), token) if token else None
        if device is not None:
            store.seen(get_db(), device, request.remote_addr or "", present())
            return None
        if request.endpoint in OPEN:
            return None
        answer = unpaired()
        if token:
            answer.headers["Clear-Site-Data"] = '"cache"'
        return answer

    app.before_request(guard)


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
        ),
        status,
    )
    answer.headers[UNPAIRED_HEADER] = "1"
    answer.headers["Cache-Control"] = "no-store"
    return answer

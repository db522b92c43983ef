"""The Devices screen, and the page on which a device is paired."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from flask import (
    Blueprint,
    Response,
    current_app,
    redirect,
    render_template,
    request,
    session,
    url_for,
)

from pitapp.db import get_db
from pitapp.devices import store
from pitapp.devices.addresses import qr_svg
from pitapp.devices.forms import MOST_NAME, PairForm
from pitapp.devices.guard import cookie_name, pairing_page
from pitapp.devices.guesses import MustWait
from pitapp.devices.sharing import Sharing, say_next
from pitapp.errors import NotThere
from pitapp.pocket import OFFERED_AT
from pitapp.web.clock import present
from pitapp.web.http.headers import hostname
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import once, write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("devices", __name__)
A_YEAR_S = 365 * 24 * 3600
NOT_SHARED = "This server is not shared. Start it with: pitapp serve --share"
LOOK = ("tokens", "base", "parts")


@blueprint.app_context_processor
def _sharing() -> dict[str, Any]:
    return {"sharing": sharing()}


def sharing() -> Sharing | None:
    """How this server is shared, or None when it serves this machine only."""
    current: Sharing | None = current_app.extensions.get("pitapp.sharing")
    return current


@blueprint.get("/devices")
def page() -> Any:
    return show(
        "devices/page.html",
        devices=store.devices(get_db()),
        secure=request.is_secure,
        alone=_alone(),
        **_code(),
    )


def _alone() -> str | None:
    """The address at which this server offers phones to run by themselves, where it does."""
    port = current_app.extensions.get(OFFERED_AT)
    return f"{request.scheme}://{hostname(request.host)}:{port}/" if port else None


@blueprint.get("/devices/code/part")
def code_part() -> str:
    """The code that is open now: the page asks for it again and again, since one may come to an end."""
    if sharing() is None:
        raise NotThere(NOT_SHARED)
    return render_template("devices/_code.html", **_code())


def _code() -> dict[str, Any]:
    shared = sharing()
    code = store.open_code(get_db(), present()) if shared else None
    picture = qr_svg(shared.pairing_url(code.code)) if shared and code else None
    return {"code": code, "picture": picture}


@blueprint.post("/devices/code")
@write
def make_code(connection: sqlite3.Connection) -> Any:
    if sharing() is None:
        raise NotThere(NOT_SHARED)
    store.new_code(connection, present())
    return after_write("devices.page")


@blueprint.post("/devices/<int:device_id>/remove")
@write
def remove(connection: sqlite3.Connection, device_id: int) -> Any:
    name, token = store.remove(connection, device_id, present())
    notice(f"Removed {name}", token)
    return after_write("devices.page")


@blueprint.get("/devices/authority.crt")
def authority() -> Response:
    """The certificate of the local authority, for a phone to trust."""
    shared = sharing()
    if shared is None or shared.authority is None:
        raise NotThere("This server has no authority of its own. Start it with --https.")
    answer = Response(Path(shared.authority).read_bytes(), mimetype="application/x-x509-ca-cert")
    answer.headers["Content-Disposition"] = "attachment; filename=pitapp-authority.crt"
    return answer


@blueprint.get("/pair")
def pair() -> Response:
    return pairing_page(200, code=request.args.get("code", "")[:MOST_NAME])


@blueprint.get("/pair/look.css")
def look() -> Response:
    folder = Path(current_app.static_folder or "") / "css"
    text = "\n".join((folder / f"{name}.css").read_text(encoding="utf-8") for name in LOOK)
    return Response(text, mimetype="text/css")


@blueprint.get("/pair/forget.js")
def forget() -> Response:
    script = Path(current_app.static_folder or "") / "js" / "forget-drafts.js"
    return Response(script.read_bytes(), mimetype="text/javascript")


@blueprint.post("/pair")
@once
def let_in() -> Any:
    connection, form = get_db(), PairForm()
    typed = {"code": (form.code.data or "")[:MOST_NAME], "name": form.called}
    try:
        paired = store.pair(
            connection,
            current_app.extensions["pitapp.guesses"],
            form.digits,
            form.called,
            request.remote_addr or "",
            present(),
            in_place_of=request.cookies.get(cookie_name(current_app), ""),
        )
    except MustWait as waiting:
        sentence = f"Too many wrong codes. Wait {waiting.seconds} s."
        answer = pairing_page(429, error=sentence, **typed)
        answer.headers["Retry-After"] = str(waiting.seconds)
        return answer
    if paired.next_code is not None:
        say_next(paired.next_code)
    if not paired.token:
        sentence = "That code is wrong or over. The one to use is shown on the Devices screen."
        return pairing_page(403, error=sentence, **typed)
    session.clear()
    inside = redirect(url_for("board.page"), 303)
    inside.set_cookie(
        cookie_name(current_app),
        paired.token,
        max_age=A_YEAR_S,
        httponly=True,
        samesite="Strict",
        secure=request.is_secure,
    )
    return inside

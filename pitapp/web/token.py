"""A fresh token for writes that a page made without one: kept pages carry none that goes stale."""

from __future__ import annotations

from flask import Blueprint, Flask, Response
from flask_wtf.csrf import generate_csrf

blueprint = Blueprint("token", __name__)


@blueprint.get("/token")
def token() -> Response:
    answer = Response(generate_csrf(), mimetype="text/plain")
    answer.headers["Cache-Control"] = "no-store"
    return answer


def register(app: Flask) -> None:
    """Give the app the token's address."""
    app.register_blueprint(blueprint)

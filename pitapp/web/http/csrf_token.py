"""A fresh token for writes that a page made without one: kept pages carry none that goes stale.

With it a phone learns which database answers (`web.identity`), of which others that one holds a copy,
and whether its data is invented.
"""

from __future__ import annotations

from flask import Blueprint, Flask, Response, current_app
from flask_wtf.csrf import generate_csrf

from pitapp.db import get_db, identity

blueprint = Blueprint("token", __name__)


@blueprint.get("/token")
def token() -> Response:
    answer = Response(generate_csrf(), mimetype="text/plain")
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["Pitapp-Origins"] = " ".join(identity.origins(get_db()))
    if current_app.config["PITAPP_INVENTED"]:
        answer.headers["Pitapp-Invented"] = "1"
    return answer


def register(app: Flask) -> None:
    """Give the app the token's address."""
    app.register_blueprint(blueprint)

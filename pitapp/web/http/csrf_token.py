"""The token of a page's forms, and a fresh one for writes that a page made without.

Kept pages carry none that goes stale: an answer names the token that its forms have
(`Pitapp-Token`), so that a phone can keep the page without it.

With it a phone learns which database answers (`web.identity`), of which others that one holds a copy,
and whether its data is invented.
"""

from __future__ import annotations

from flask import Blueprint, Flask, Response, current_app, g
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


def of_form(*, to_mend: bool = True) -> str:
    """The token of a form that a template shows; `to_mend` is False for one beside the content."""
    g.form_token = generate_csrf()
    g.has_form = g.get("has_form", False) or to_mend
    return str(g.form_token)


def _name(response: Response) -> Response:
    if token := g.get("form_token"):
        response.headers["Pitapp-Token"] = token
    return response


def register(app: Flask) -> None:
    """Give the app the token's address, and templates the token."""
    app.register_blueprint(blueprint)
    app.after_request(_name)
    app.jinja_env.globals["csrf_token"] = of_form

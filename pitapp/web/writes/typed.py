"""What was typed on a form that is left for adding what one of its lists lacks, where no script keeps it.

The form is posted here by its "New" button; it is held in memory under a token that goes along to the
form that adds, and back, where `choose_added` puts it into its fields. Nothing is written.
"""

from __future__ import annotations

import secrets
from collections import OrderedDict
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from flask import Blueprint, Flask, current_app, redirect, request, session
from werkzeug.datastructures import MultiDict

from pitapp.web.writes.undo import own_path

TYPED = "typed"
NEW = "added"
MOST_FORMS = 40
MOST_CHARACTERS = 64_000
NOT_TYPED = {"csrf_token", "idempotency_key"}

blueprint = Blueprint("typed", __name__)


@blueprint.post("/typed")
def keep() -> Any:
    """Hold the form, and go to where what it lacks is added (`to`); from there it leads `back`."""
    back = urlsplit(own_path(request.args.get("back", "/")))
    added = [value for name, value in parse_qsl(back.query) if name == NEW]
    query = [pair for pair in parse_qsl(back.query) if pair[0] not in {TYPED, NEW, *added}]
    fields = [pair for pair in request.form.items(multi=True) if pair[0] not in NOT_TYPED]
    if sum(len(name) + len(value) for name, value in fields) <= MOST_CHARACTERS:
        token = secrets.token_urlsafe(12)
        held: OrderedDict[str, Any] = current_app.extensions["pitapp.typed"]
        held[token] = (session.get("csrf_token"), fields)
        while len(held) > MOST_FORMS:
            held.popitem(last=False)
        query.append((TYPED, token))
    address = back._replace(query=urlencode(query)).geturl()
    return redirect(f"{own_path(request.args.get('to', '/'))}?{urlencode({'back': address})}", 303)


def typed() -> MultiDict[str, str] | None:
    """The fields that this page's address stands for, as the same device typed them; None for none."""
    held = current_app.extensions["pitapp.typed"].get(request.args.get(TYPED, ""))
    if held is None or held[0] != session.get("csrf_token"):
        return None
    return MultiDict(held[1])


def register(app: Flask) -> None:
    """Give the app the address, and the place that holds what was typed."""
    app.extensions["pitapp.typed"] = OrderedDict()
    app.register_blueprint(blueprint)

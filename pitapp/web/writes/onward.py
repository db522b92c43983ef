"""Where a saved form leads: on along getting started, back to the form that lacked what it adds, or on."""

from __future__ import annotations

from contextlib import suppress
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from flask import Flask, redirect, request
from wtforms import BooleanField, Form, SelectMultipleField

from pitapp.web.http.htmx import after_write
from pitapp.web.writes.typed import NEW, typed
from pitapp.web.writes.undo import own_path

STEP, BACK = "start", "back"
LONGEST = 200


def onward(step: str, endpoint: str, *, field: str = "", new_id: int = 0, **values: Any) -> Any:
    """Lead on after a write: to the next step, back with the new thing chosen, or to `endpoint`.

    Args:
        step: of getting started, as `pitapp.board.starting` names it.
        field: the choice in the form gone back to, which takes `new_id`.
    """
    if request.form.get(STEP):
        return after_write("board.start", after=step)
    back = request.form.get(BACK, "")
    if back and new_id and len(back) <= LONGEST:
        parts = urlsplit(own_path(back))
        query = [pair for pair in parse_qsl(parts.query) if field not in pair]
        address = parts._replace(query=urlencode([*query, (field, new_id), (NEW, field)]))
        return redirect(address.geturl(), 303)
    return after_write(endpoint, **values)


def chosen(*names: str) -> dict[str, str]:
    """What the address says of these fields: the new thing that a form is gone back to for."""
    return {name: request.args[name] for name in names if name in request.args}


def choose_added(form: Form) -> None:
    """Fill a form that is gone back to: with what was typed in it, and what was added for it chosen."""
    fields = typed()
    for field in form if fields else ():
        sent = any(name == field.name or name.startswith(f"{field.name}-") for name in fields or ())
        if sent or isinstance(field, BooleanField | SelectMultipleField):
            field.process(fields)
    for name in request.args.getlist(NEW):
        if name in form and name in request.args:
            with suppress(ValueError):
                form[name].process_formdata([request.args[name]])


def carried() -> list[tuple[str, str]]:
    """The hidden fields by which a form remembers where it leads: names and values."""
    sent = request.values
    return [(name, sent[name][:LONGEST]) for name in (STEP, BACK) if sent.get(name)]


def register(app: Flask) -> None:
    """Give templates `carried`."""
    app.jinja_env.globals["carried"] = carried

"""Why a write was refused, as JSON for a phone's worker: the header `Pitapp-Refusal` beside the page.

A worker has no document to read the page with. It keeps the refused entry with these reasons, and
the Outbox shows them. Only a worker asks for it (`Pitapp-No-Redirect`).
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any, TypedDict

from flask import Flask, Response, g, request
from wtforms import Field, Form, HiddenField

NO_REDIRECT = "Pitapp-No-Redirect"
HEADER = "Pitapp-Refusal"
MOST_REASONS, MOST_CHARACTERS = 12, 300
"""An answer's headers stay far under the 8 kB that servers and browsers take."""


class Reason(TypedDict):
    """A sentence, with the field that it stands at: its id and label, empty for the whole form."""

    field: str
    name: str
    text: str


class Refusal(TypedDict):
    """What the header holds.

    `version` is that of the record as it is now, `saw` the number that a tap would have to send now;
    both None where the form has none. `form` says whether the page has a form to mend.
    """

    reasons: list[Reason]
    version: str | None
    saw: int | None
    form: bool


def watch(form: Form) -> None:
    """Let the answer to this request name the errors that this form has by then."""
    g.setdefault("forms", []).append(form)


def note(sentence: str) -> None:
    """Let the answer to this request, if it is a refusal, give this as a reason."""
    g.setdefault("refusals", []).append(sentence)


def note_saw(version: int) -> None:
    """Let the answer to a tap on what is no longer so tell what it would have to say now."""
    g.refused_saw = version


def _sentences(errors: Any) -> Iterable[str]:
    """Every sentence of a field's errors, those of its parts included."""
    if isinstance(errors, str):
        yield errors
    elif isinstance(errors, dict):
        yield from _sentences(list(errors.values()))
    else:
        for each in errors:
            yield from _sentences(each)


def _reason(field: Field) -> Reason:
    text = " ".join(dict.fromkeys(_sentences(field.errors)))
    if isinstance(field, HiddenField):
        return Reason(field="", name="", text=f"This page is out of date ({field.name}).")
    return Reason(field=field.id, name=field.label.text, text=text[:MOST_CHARACTERS])


def of_request() -> Refusal:
    """What is known of why the request that is being answered was refused."""
    forms: list[Form] = g.get("forms", [])
    wrong = [field for form in forms for field in form if field.errors]
    sentences = [
        *(sentence for form in forms for sentence in form.form_errors),
        *g.get("refusals", []),
    ]
    reasons = [_reason(field) for field in wrong]
    reasons += [Reason(field="", name="", text=text[:MOST_CHARACTERS]) for text in sentences]
    reasons = [each for at, each in enumerate(reasons) if each not in reasons[:at]]
    versions = [form["version"].data for form in forms if "version" in form]
    return Refusal(
        reasons=reasons[:MOST_REASONS],
        version=next((str(each) for each in versions if each), None),
        saw=g.get("refused_saw"),
        form=bool(g.get("has_form")),
    )


def _add_header(response: Response) -> Response:
    if response.status_code >= 400 and NO_REDIRECT in request.headers:
        response.headers[HEADER] = json.dumps(of_request())
    return response


def register(app: Flask) -> None:
    """Give the reasons with every refused write of a worker."""
    app.after_request(_add_header)

"""Every write is one transaction, and a write that carries a key is done once however often it is sent."""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Callable, Hashable
from functools import wraps
from threading import Lock
from time import monotonic
from typing import Any

from flask import Response, current_app, make_response, redirect, request, session

from pitapp.db import get_db, idempotency, transaction
from pitapp.db.removed import removed_name
from pitapp.errors import BadRequest, Gone
from pitapp.web.clock import now
from pitapp.web.http.htmx import show
from pitapp.web.writes import notices

KEY_HEADER = "Idempotency-Key"
KEY_FIELD = "idempotency_key"
REPLAYED = "Idempotent-Replayed"
NOTICES = "application/json"
REPEATED_WITHIN_S = 60.0
ON_REMOVED = {"checks.answer"}
"""Writes that go on though a row of their address was removed: what was read at a step is kept."""
_Done = tuple[idempotency.Answer, list[str], float]
_one_at_a_time = Lock()


class Unsaved(notices.Refusal):
    """Ends a write and rolls it back; the answer says why."""

    def __init__(self, response: Response) -> None:
        self.response = response


def write(view: Callable[..., Any]) -> Callable[..., Response]:
    """Wrap a view that changes data: it is called as `view(connection, **arguments)`.

    An answer with a status of 400 or more rolls everything back. What is about a row that was removed
    is refused (409) before the view is asked. With an `Idempotency-Key` header
    or field (a UUID) the answer is stored in the same transaction and given again when the key comes again.
    """

    @wraps(view)
    def wrapped(**arguments: Any) -> Response:
        key = _key()
        try:
            with notices.of_one_write() as pending, transaction(get_db()) as connection:
                if key and (earlier := idempotency.find(connection, key)):
                    return _again(earlier)
                refuse_removed(connection, arguments)
                response = _saved(view(connection, **arguments))
                if key:
                    idempotency.keep(connection, key, _answer(response, pending), now())
        except Unsaved as unsaved:
            return unsaved.response
        return response

    return wrapped


def refuse_removed(connection: sqlite3.Connection, arguments: dict[str, Any]) -> None:
    """Raise `Gone` where a row that the address names was removed since its page was opened."""
    if request.endpoint in ON_REMOVED:
        return
    for argument, row_id in arguments.items():
        name = removed_name(connection, argument, row_id)
        if name is not None:
            raise Gone(f"{name} was removed after this page was opened.")


def once(view: Callable[..., Any]) -> Callable[..., Response]:
    """Wrap a view whose change is no plain write: with a key it happens once within a minute.

    One that comes while another is being done waits for it. The answer, with the cookies that it
    set, is given again to the same session only.
    """

    @wraps(view)
    def wrapped(**arguments: Any) -> Response:
        key = _key()
        try:
            with notices.of_one_write() as pending:
                if key is None:
                    return _saved(view(**arguments))
                whose = (key, session.get("csrf_token"))
                with _one_at_a_time:
                    return _once(whose, pending, lambda: view(**arguments))
        except Unsaved as unsaved:
            return unsaved.response

    return wrapped


def _once(whose: Hashable, pending: notices.Notices, do: Callable[[], Any]) -> Response:
    done: dict[Hashable, _Done] = current_app.extensions.setdefault("pitapp.once", {})
    for old in [who for who, (_, _, at) in done.items() if monotonic() - at >= REPEATED_WITHIN_S]:
        del done[old]
    if whose in done:
        answer, cookies, _ = done[whose]
        earlier = _again(answer)
        for cookie in cookies:
            earlier.headers.add("Set-Cookie", cookie)
        return earlier
    response = _saved(do())
    set_cookies = response.headers.getlist("Set-Cookie")
    done[whose] = _answer(response, pending), set_cookies, monotonic()
    return response


def _saved(answer: Any) -> Response:
    """The answer of a view, if it says that all is well."""
    response = make_response(answer)
    if response.status_code >= 400:
        raise Unsaved(response)
    return response


def _key() -> str | None:
    key = request.headers.get(KEY_HEADER) or request.form.get(KEY_FIELD)
    if key is None:
        return None
    try:
        return str(uuid.UUID(key))
    except ValueError:
        raise BadRequest("The key of this write is no UUID.") from None


def _again(answer: idempotency.Answer) -> Response:
    if answer.status == idempotency.ONLY_SAVED:
        response = show(
            "errors/page.html",
            level="good",
            title="Saved",
            sentence="This was sent before, and it is in the data that was brought back since.",
        )
    elif answer.location:
        _say_again(answer)
        response = make_response(redirect(answer.location, answer.status))
    else:
        response = Response(answer.body, answer.status, content_type=answer.content_type)
    response.headers[REPLAYED] = "true"
    return response


def _say_again(answer: idempotency.Answer) -> None:
    """Give the notices, with their Undo, to whoever left before the first answer came."""
    if answer.content_type != NOTICES:
        return
    unread = {sentence for _, sentence in notices.unread()}
    for category, sentence in json.loads(answer.body):
        if sentence not in unread:
            notices.say(sentence, category)


def _answer(response: Response, pending: notices.Notices) -> idempotency.Answer:
    """The answer to store; a redirect's body holds its notices, as nobody reads it."""
    if location := response.headers.get("Location"):
        return idempotency.Answer(
            response.status_code, location, NOTICES, json.dumps(pending).encode()
        )
    return idempotency.Answer(
        response.status_code, None, response.content_type, response.get_data()
    )

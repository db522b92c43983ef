"""Tells a page which of its writes were saved, so that it drops what it keeps of what was typed.

A cookie that scripts can read holds the keys of the last few: it arrives with the answer however the form
was sent, and no page that is made once for many holds what one phone did.
"""

from __future__ import annotations

import re

from flask import Flask, Response, request

from pitapp.web.http.identity import LOCATION
from pitapp.web.writes.transactions import KEY_FIELD, KEY_HEADER, REPLAYED

COOKIE = "pitapp_saved"
KEY = re.compile("[0-9A-Fa-f-]{36}")
MOST_KEYS, LIVES_S = 4, 600
LONGEST = MOST_KEYS * 40


def _note(response: Response) -> Response:
    """Add the key of a write that was saved: an answer that does not lead on is the form again."""
    leads_on = response.location or LOCATION in response.headers
    if request.method != "POST" or not (leads_on or REPLAYED in response.headers):
        return response
    key = request.headers.get(KEY_HEADER) or request.form.get(KEY_FIELD) or ""
    if KEY.fullmatch(key):
        name = f"__Host-{COOKIE}" if request.is_secure else COOKIE
        before = filter(KEY.fullmatch, request.cookies.get(name, "")[:LONGEST].split("."))
        keys = ".".join([key, *before][:MOST_KEYS])
        response.set_cookie(
            name, keys, max_age=LIVES_S, samesite="Strict", secure=request.is_secure
        )
    return response


def register(app: Flask) -> None:
    """Look at every answer to a write."""
    app.after_request(_note)

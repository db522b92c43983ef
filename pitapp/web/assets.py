"""Static files under addresses that change with their content, so that a phone may keep them for ever.

Scripts are served without their remarks.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from flask import Flask, Response, request

REMARK = re.compile(r"^[ \t]*/\*\*(?s:.*?)\*/\n|^[ \t]*//.*\n|^[ \t]+|^\n", re.MULTILINE)
OWN_SCRIPT = re.compile(r"js/.*\.js")
FOREVER = "public, max-age=31536000, immutable"


def lean(script: str) -> str:
    """A script of the app's own without what only people read: remarks, indentation, empty lines.

    >>> lean("/** Says so. */\\n// It\\nif (a) {\\n  b(); // here\\n}\\n")
    'if (a) {\\nb(); // here\\n}\\n'
    """
    return REMARK.sub("", script)


def served(folder: Path, name: str) -> bytes:
    """A static file as it goes out: by this its address is made, and a phone checks it."""
    body = (folder / name).read_bytes()
    return lean(body.decode()).encode() if OWN_SCRIPT.fullmatch(name) else body


def register(app: Flask) -> None:
    """Offer the filter `static_url` to templates and let marked addresses be kept.

    A filter of a constant is worked out once, as its template is compiled.
    """
    folder = Path(app.static_folder or "")
    urls: dict[str, str] = {}

    def static_url(name: str) -> str:
        if name not in urls or app.debug:
            digest = hashlib.sha256(served(folder, name)).hexdigest()[:12]
            urls[name] = f"/static/{name}?v={digest}"
        return urls[name]

    def keep(response: Response) -> Response:
        if request.endpoint == "static" and "v" in request.args and response.status_code == 200:
            response.headers["Cache-Control"] = FOREVER
        return response

    app.jinja_env.filters["static_url"] = static_url
    app.after_request(keep)

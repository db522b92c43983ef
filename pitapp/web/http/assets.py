"""Static files under addresses that change with their content, so that a phone may keep them for ever."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from flask import Flask, Response, request

FOREVER = "public, max-age=31536000, immutable"
NEEDLESS = ("Content-Disposition", "Last-Modified", "Accept-Ranges")
"""Headers that say nothing more beside an ETag: 2 kB of a first visit."""
REMARKED = {"text/css", "text/javascript", "application/javascript"}
REMARK = re.compile(r"^[ \t]*(?://.*|/\*(?!!)(?:[^*]|\*(?!/))*\*/[ \t]*)\n", re.MULTILINE)


def register(app: Flask) -> None:
    """Offer the filter `static_url` to templates and let marked addresses be kept."""
    folder = Path(app.static_folder or "")
    urls: dict[str, str] = {}

    def static_url(name: str) -> str:
        if name not in urls or app.debug:
            digest = hashlib.sha256(as_sent(folder / name)).hexdigest()[:12]
            urls[name] = f"/static/{name}?v={digest}"
        return urls[name]

    def keep(response: Response) -> Response:
        if request.endpoint != "static" or response.status_code not in {200, 304}:
            return response
        if response.mimetype in REMARKED:
            response.direct_passthrough = False
            response.set_data(without_remarks(response.get_data(as_text=True)))
        for name in NEEDLESS:
            response.headers.pop(name, None)
        if "v" in request.args:
            response.headers["Cache-Control"] = FOREVER
            response.headers.pop("ETag", None)  # never asked for again: .7 kB of a first visit
        return response

    app.jinja_env.filters["static_url"] = static_url
    app.after_request(keep)


def as_sent(path: Path) -> bytes:
    """Return a static file as it is sent: scripts and styles without remarks."""
    content = path.read_bytes()
    return without_remarks(content.decode()).encode() if path.suffix in {".css", ".js"} else content


def without_remarks(text: str) -> str:
    """
    Return a script or style without the remarks that take up whole lines; licences (`/*!`) stay. It is 13 kB of the
    157 that a first visit would fetch. Inside a text of several lines none may begin as a remark does (a test looks).

    >>> without_remarks("// Adds.\\nlet a = 1; // one\\n  /* Two\\n  lines. */\\nlet b;\\n")
    'let a = 1; // one\\nlet b;\\n'
    """
    return REMARK.sub("", text)

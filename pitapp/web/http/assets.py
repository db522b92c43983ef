"""Static files under addresses that change with their content, so that a phone may keep them for ever."""

from __future__ import annotations

import hashlib
from pathlib import Path

from flask import Flask, Response, request

FOREVER = "public, max-age=31536000, immutable"


def register(app: Flask) -> None:
    """Offer the filter `static_url` to templates and let marked addresses be kept."""
    folder = Path(app.static_folder or "")
    urls: dict[str, str] = {}

    def static_url(name: str) -> str:
        if name not in urls or app.debug:
            digest = hashlib.sha256((folder / name).read_bytes()).hexdigest()[:12]
            urls[name] = f"/static/{name}?v={digest}"
        return urls[name]

    def keep(response: Response) -> Response:
        if request.endpoint == "static" and "v" in request.args and response.status_code == 200:
            response.headers["Cache-Control"] = FOREVER
        return response

    app.jinja_env.filters["static_url"] = static_url
    app.after_request(keep)

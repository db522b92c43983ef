"""Where the app runs: the one question about it that rooms may ask, and where others find it."""

from __future__ import annotations

from flask import Flask, current_app, request


def in_browser() -> bool:
    """Whether the app runs inside the phone's own browser, with no server and for nobody else."""
    return bool(current_app.config["PITAPP_IN_BROWSER"])


def address_of(path: str) -> str:
    """The address by which a browser opens this page of the app, wherever the app runs.

    In the phone's own browser that is the folder's address with the page behind its `#`.
    """
    if in_browser():
        return f"{current_app.config['PITAPP_FOLDER_ADDRESS']}#{path}"
    return request.host_url.rstrip("/") + path


def register(app: Flask) -> None:
    """Let templates ask it too."""
    app.jinja_env.globals["in_browser"] = in_browser

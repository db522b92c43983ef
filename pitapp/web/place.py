"""Where the app runs: the one question about it that rooms may ask."""

from __future__ import annotations

from flask import Flask, current_app


def in_browser() -> bool:
    """Whether the app runs inside the phone's own browser, with no server and for nobody else."""
    return bool(current_app.config["PITAPP_IN_BROWSER"])


def register(app: Flask) -> None:
    """Let templates ask it too."""
    app.jinja_env.globals["in_browser"] = in_browser

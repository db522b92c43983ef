"""The reference: a bare Flask app with the same libraries and one page of a given size."""

from __future__ import annotations

import argparse
import sqlite3
import statistics

import cheroot.wsgi
import flask
import flask_wtf
import platformdirs
import tzlocal
import wtforms
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

# `import pydantic` alone loads next to nothing: its names are what a program imports.
LIBRARIES = (cheroot, flask, flask_wtf, platformdirs, sqlite3, statistics, tzlocal, wtforms)
PYDANTIC = (AfterValidator, BaseModel, ConfigDict, Field, model_validator)
LINES = 40
PAGE = """<!doctype html><html lang="en"><head><title>{{ title }}</title></head><body>
{% for line in lines %}<p id="line-{{ loop.index }}">{{ line }}</p>
{% endfor %}</body></html>"""


def bare_app(size: int = 0) -> flask.Flask:
    """Return an app whose page `/` is about `size` bytes long, in forty filled-in lines."""
    app = flask.Flask("bare")
    app.secret_key = "bare"
    flask_wtf.CSRFProtect(app)
    page = app.jinja_env.from_string(PAGE)
    empty = len(page.render(title="Bare", lines=[""] * LINES))
    lines = ["x" * (max(size - empty, 0) // LINES)] * LINES

    @app.get("/")
    def index() -> str:
        return page.render(title="Bare", lines=lines)

    return app


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--data", help="not used; a server of the tests is always given one")
    parser.add_argument("--size", type=int, default=0)
    given = parser.parse_args()

    from pitapp.web.server import make_server

    make_server(bare_app(given.size), port=given.port).start()


if __name__ == "__main__":
    main()

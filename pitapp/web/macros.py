"""The macros of `templates/macros.html`, offered to every template as `ui`.

A global is looked up once; an `import` in each template would be worked out at each rendering.
"""

from __future__ import annotations

from typing import Any

from flask import Flask


class Macros:
    """The module of macros, loaded when the first of them is used."""

    def __init__(self, app: Flask) -> None:
        self._app = app

    def __getattr__(self, name: str) -> Any:
        module = self._app.jinja_env.get_template("macros.html").module
        for each in dir(module):
            if not each.startswith("_"):
                setattr(self, each, getattr(module, each))
        if name not in self.__dict__:
            raise AttributeError(name)
        return self.__dict__[name]


def register(app: Flask) -> None:
    """Offer the macros to templates as `ui`."""
    app.jinja_env.globals["ui"] = Macros(app)

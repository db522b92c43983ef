"""Flask as this house uses it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from flask import Flask, Response

from pitapp.web.assets import OWN_SCRIPT, served
from pitapp.web.rules import LateRule
from pitapp.web.templating import PageEnvironment


class PitFlask(Flask):
    """Every view is a plain function, so none is looked at at each request; addresses are built late."""

    url_rule_class = LateRule
    jinja_environment = PageEnvironment

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """The function itself."""
        return func

    def send_static_file(self, filename: str) -> Response:
        """A static file; a script of the app's own without its remarks."""
        response = super().send_static_file(filename)
        if OWN_SCRIPT.fullmatch(filename) and response.status_code == 200:
            response.direct_passthrough = False
            response.set_data(served(Path(self.static_folder or ""), filename))
        return response

"""Flask as this house uses it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Flask

from pitapp.web.rules import LateRule
from pitapp.web.templating import PageEnvironment


class PitFlask(Flask):
    """Every view is a plain function, so none is looked at at each request; addresses are built late."""

    url_rule_class = LateRule
    jinja_environment = PageEnvironment

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """The function itself."""
        return func

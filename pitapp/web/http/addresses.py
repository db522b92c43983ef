"""Addresses whose builders are compiled when one is first put together.

Werkzeug compiles two small programs for each address when it is registered, over half of the time
in which an app with hundreds of them is made; a start needs a few. That is what a phone waits for.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from flask import Flask
from werkzeug.routing import Rule

Builder = Callable[..., tuple[str, str]]


class Address(Rule):
    """A rule that compiles its builder when it is first asked for an address."""

    def _compile_builder(self, append_unknown: bool = True) -> Builder:
        compile_builder = super()._compile_builder

        @cache
        def builder() -> Builder:
            return compile_builder(append_unknown)

        def build(rule: Rule, /, *given: Any, **values: Any) -> tuple[str, str]:
            return builder()(rule, *given, **values)

        return build


def register(app: Flask) -> None:
    """Let every address that is registered from now on be of this kind."""
    app.url_rule_class = Address

"""Addresses that are made ready for building only when one is built.

Werkzeug compiles two functions for every rule as it is added; with some hundred rules that is a
quarter of the start, and most of them are never built.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from werkzeug.routing import Rule


class LateRule(Rule):
    """A rule whose builders are compiled on first use."""

    def _compile_builder(self, append_unknown: bool = True) -> Callable[..., tuple[str, str]]:
        compiled: list[Callable[..., tuple[str, str]]] = []
        compile_now = super()._compile_builder

        def build(*arguments: Any, **values: Any) -> tuple[str, str]:
            if not compiled:
                compiled.append(compile_now(append_unknown))
            return compiled[0](*arguments, **values)

        return build

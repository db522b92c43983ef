"""Views whose module is imported when the first of them is asked for.

For rooms that bring much along and that a day may do without: their `routes.py` only names the
addresses.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any


class Late:
    """The views of a module, by their names."""

    def __init__(self, module: str) -> None:
        self._module = module

    def __getattr__(self, name: str) -> Callable[..., Any]:
        def view(**arguments: Any) -> Any:
            return getattr(import_module(self._module), name)(**arguments)

        view.__name__ = name
        return view

"""The texts that Playwright's script in a page is about to evaluate, which a strict page policy forbids it.

They are sent along as code, which the engine and not the page compiles.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from wire import Json

# By the name that Playwright gives to a text: what it evaluates of it, and the same as code.
SHAPES: dict[str, tuple[Callable[[str], str], Callable[[str], str]]] = {
    "expression": (str, str),
    "callbackText": (str, str),
    "functionText": ("({})".format, str),
    "source": (
        str,
        "(() => {{ const module = {{}}; {}\n return module.exports.default(); }})()".format,
    ),
}


def program_texts(args: list[Json]) -> list[tuple[str, str]]:
    """Return the texts among the arguments of a call, each as it is evaluated and as code."""
    texts = []
    if len(args) > 3 and "handle" in args[0] and args[3].get("type") == "string":
        texts.append(("expression", args[3]["value"]))
    waiting: list[Any] = list(args)
    while waiting:
        each = waiting.pop()
        if isinstance(each, list):
            waiting += each
        elif isinstance(each, dict):
            waiting.append(each.get("value"))
            texts += named_text(each)
    return [
        (SHAPES[name][0](text), SHAPES[name][1](text.strip().rstrip(";"))) for name, text in texts
    ]


def named_text(value: Json) -> list[tuple[str, str]]:
    """Return the text of an entry under one of those names."""
    if value.get("type") != "object":
        return []
    entry = {
        key["value"]: item.get("value") for key, item in value["value"] if isinstance(key, dict)
    }
    name, text = entry.get("k"), entry.get("v")
    if name not in SHAPES or not isinstance(text, str):
        return []
    if name == "source" and "module.exports" not in text:
        return []  # a part of a selector has the same name
    return [(name, text)]

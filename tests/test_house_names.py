"""Plain names: modules, types, functions and results bear the field's words, not a dialect of our own."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house import PACKAGE, ROOT, python_files, shown, tree

SCRIPTS = sorted((ROOT / "static" / "js").rglob("*.js"))

MODULES = {
    "alone",
    "answers",
    "as_written",
    "asks",
    "basis",
    "box",
    "care",
    "chain",
    "day",
    "descent",
    "desk",
    "examine",
    "failures",
    "figures",
    "fitting",
    "garage",
    "here",
    "incoming",
    "jobs",
    "kept",
    "late",
    "latest",
    "learn",
    "learn_from_runs",
    "lever",
    "look",
    "making",
    "memory",
    "moments",
    "outlook",
    "pages",
    "past",
    "placed",
    "remembered",
    "rules",
    "screens",
    "senses",
    "setting_up",
    "shell",
    "shopping",
    "shown",
    "solve",
    "sources",
    "standing",
    "steps",
    "telling",
    "told",
    "train",
    "trials",
    "walking",
    "wanted",
    "wording",
    "words",
}
TYPES = {
    "Asked",
    "Course",
    "Found",
    "Garage",
    "Judged",
    "Kept",
    "Lesson",
    "Outing",
    "Papers",
    "Prospect",
    "Shown",
    "Standing",
    "Told",
    "Turn",
    "Walk",
}
RESULTS = {"found", "had", "kept", "one", "shown", "told"}
FUNCTIONS = RESULTS | {
    "allows",
    "asks",
    "blame",
    "cut",
    "enough",
    "here",
    "late",
    "made",
    "meet",
    "offer",
    "put_on",
    "safe",
    "stamp",
    "swapped",
    "take_back",
    "told_by_kit",
    "touch",
    "when",
}
REASONS = {
    "pitapp/checks/engine.py: shown": "the form field and the column of a reading",
    "pitapp/checks/models.py: shown": "the form field and the column of a reading",
    "pitapp/packs/charging/steps.py: shown": "the column of an answer",
    "pitapp/db/pages.py": "a page of a long list is the term of databases and of the web",
    "pitapp/drive/screens.py": "the views of a room that has many screens",
    "pitapp/exchange/screens.py": "the views of a room that has many screens",
    "pitapp/runs/laps/screens.py": "the views of a room that has many screens",
    "pitapp/gearing/train.py": "a gear train is the field's term for gears in mesh",
    "static/js/sw/pages.js": "the pages that a phone keeps",
    "pitapp/packs/charging/steps.py": "what the room, its forms and its addresses call them",
}
"""Names that stay, each with the reason why."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


def plain(name: str) -> str:
    return name.strip("_")


def returned(function: Function) -> set[str]:
    """Return the names that a function returns, alone or in a tuple."""
    names: set[str] = set()
    for node in ast.walk(function):
        if isinstance(node, ast.Return) and node.value is not None:
            parts = node.value.elts if isinstance(node.value, ast.Tuple) else [node.value]
            names |= {part.id for part in parts if isinstance(part, ast.Name)}
    return names


def stored(function: Function) -> set[str]:
    return {
        node.id
        for node in ast.walk(function)
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
    }


def dialect(top: ast.Module) -> Iterator[str]:
    """Name by name, what in a module bears a name that tells a stranger nothing.

    >>> list(dialect(ast.parse("def told(x):\\n    found = x\\n    return found")))
    ['told', 'found']
    >>> list(dialect(ast.parse("class Walk:\\n    kept: int\\n    one = 2")))
    ['Walk', 'kept']
    """
    for node in ast.walk(top):
        if isinstance(node, ast.ClassDef):
            if plain(node.name) in TYPES:
                yield node.name
            for field in node.body:
                target = field.target if isinstance(field, ast.AnnAssign) else None
                if isinstance(target, ast.Name) and target.id in RESULTS:
                    yield target.id
        elif isinstance(node, Function):
            if plain(node.name) in FUNCTIONS:
                yield node.name
            yield from sorted((stored(node) | returned(node)) & (RESULTS - {"one"}))
            yield from sorted(returned(node) & {"one"})


def declared(script: str) -> Iterator[str]:
    """The names of functions, classes and results in a script, comments and texts left out.

    >>> list(declared("const told = 1; // let found\\nfunction put() { let one; }"))
    ['told', 'put', 'one']
    """
    code = re.sub(
        r"""/\*.*?\*/|(?<![:"'`\\])//[^\n]*|"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'""",
        "",
        script,
        flags=re.DOTALL,
    )
    yield from re.findall(r"\b(?:function\*?|class|const|let|var)\s+([A-Za-z_$][\w$]*)", code)


@pytest.mark.parametrize("path", python_files(PACKAGE), ids=shown)
def test_a_name_says_what_it_stands_for(path: Path) -> None:
    file = shown(path)
    module = path.parent.name if path.name == "__init__.py" else path.stem
    assert module not in MODULES or file in REASONS, file
    odd = [name for name in dialect(tree(path)) if f"{file}: {name}" not in REASONS]
    assert odd == []


@pytest.mark.parametrize("path", SCRIPTS, ids=shown)
def test_a_name_of_a_script_says_what_it_stands_for(path: Path) -> None:
    file = shown(path)
    assert path.stem not in MODULES or file in REASONS, file
    odd = [
        name
        for name in declared(path.read_text(encoding="utf-8"))
        if name in FUNCTIONS | TYPES and f"{file}: {name}" not in REASONS
    ]
    assert odd == []


@pytest.mark.parametrize("place", REASONS)
def test_a_reason_is_for_a_name_that_is_there(place: str) -> None:
    file, _, name = place.partition(": ")
    assert (ROOT / file).is_file()
    if name:
        assert re.search(rf"\b{name}\b", (ROOT / file).read_text(encoding="utf-8"))

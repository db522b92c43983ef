"""Rooms outside, layers inside: who may import whom, and where SQL may stand."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from tests.house import (
    PACKAGE,
    calls,
    imports,
    module_name,
    nodes,
    packages,
    python_files,
    reached,
    room_of,
    shown,
    strings,
    tree,
)

FILES = python_files(PACKAGE)

FORMULAS = [path for path in FILES if path.name == "formulas.py"]
MODELS = [path for path in FILES if path.name == "models.py"]
WEB_AND_DATA = {"flask", "flask_wtf", "wtforms", "werkzeug", "jinja2", "h11", "sqlite3"}
IMPURE = WEB_AND_DATA | {
    "numpy",
    "os",
    "pathlib",
    "platformdirs",
    "random",
    "scipy",
    "secrets",
    "socket",
    "subprocess",
    "time",
    "tzlocal",
    "urllib",
}
CLOCK = re.compile(r"\b(now|utcnow|today)$")
SQL = re.compile(
    r"\s*(SELECT\s|INSERT\s+(OR\s+\w+\s+)?INTO\s|UPDATE\s+\w+\s+SET\s|DELETE\s+FROM\s|REPLACE\s+INTO\s"
    r"|WITH\s+\w+\s+AS\s|CREATE\s+(TABLE|INDEX|VIEW|TRIGGER|UNIQUE)\s|ALTER\s+TABLE\s|DROP\s|PRAGMA\s)"
)


def roots(modules: set[str]) -> set[str]:
    return {module.split(".")[0] for module in modules}


def impurities(path: Path, forbidden: set[str]) -> list[str]:
    """Return what a file and all it brings in take from outside, each with the way there."""
    found = []
    for file, way in reached(path).items():
        opening = file.name == "__init__.py"
        barred = forbidden & WEB_AND_DATA if opening else forbidden
        taken = roots(imports(file, deep=not opening)) & barred
        found += [f"{shown(file)} (by way of {way}) imports {name}" for name in sorted(taken)]
    return found


@pytest.mark.parametrize("path", FORMULAS, ids=shown)
def test_formulas_are_pure(path: Path) -> None:
    assert impurities(path, IMPURE) == []
    for file in reached(path):
        if file.name != "__init__.py":
            assert [call for call in calls(file) if CLOCK.search(call)] == [], shown(file)
            assert "open" not in calls(file), shown(file)


@pytest.mark.parametrize("path", MODELS, ids=shown)
def test_models_know_neither_the_web_nor_the_database(path: Path) -> None:
    assert impurities(path, WEB_AND_DATA) == []


@pytest.mark.parametrize("path", FILES, ids=shown)
def test_sql_stands_only_in_stores_and_in_the_database_package(path: Path) -> None:
    if path.name == "store.py" or (PACKAGE / "db") in path.parents:
        return
    assert [text for text in strings(path) if SQL.match(text)] == []
    executed = [call for call in calls(path) if re.search(r"\.execute(many|script)?$", call)]
    assert executed == []


@pytest.mark.parametrize("path", [path for path in FILES if room_of(module_name(path))], ids=shown)
def test_a_room_leaves_another_rooms_routes_and_forms_alone(path: Path) -> None:
    own = room_of(module_name(path))
    for module in imports(path):
        other = room_of(module)
        if other and other != own:
            assert module.split(".")[-1] not in {"routes", "forms"}, module


@pytest.mark.parametrize("path", [path for path in FILES if room_of(module_name(path))], ids=shown)
def test_a_room_takes_only_what_another_room_offers(path: Path) -> None:
    own = room_of(module_name(path))
    for node in nodes(tree(path)):
        if isinstance(node, ast.ImportFrom) and room_of(node.module or "") not in {"", own}:
            private = [alias.name for alias in node.names if alias.name.startswith("_")]
            assert private == [], node.module


@pytest.mark.parametrize("folder", packages(), ids=shown)
def test_every_package_says_what_belongs_there(folder: Path) -> None:
    opening = folder / "__init__.py"
    assert opening.is_file(), f"{shown(folder)} has Python files and no __init__.py"
    said = ast.get_docstring(tree(opening)) or ""
    if folder == PACKAGE:
        assert said
        return
    sentences = re.findall(r"[.!?](?=\s|$)", said)
    assert len(sentences) >= 2, f"{len(sentences)} sentences in {shown(opening)}"


def test_the_walk_sees_what_it_should() -> None:
    """The checks above are worth nothing if the walk stops early."""
    assert {"sqlite3", "pitapp.errors"} <= imports(PACKAGE / "db" / "migrate.py")
    assert PACKAGE / "db" / "connect.py" in reached(PACKAGE / "db" / "migrate.py")
    assert PACKAGE / "__init__.py" in reached(PACKAGE / "db" / "migrate.py")
    assert PACKAGE / "web" / "factory.py" not in reached(PACKAGE / "limits.py")
    assert impurities(PACKAGE / "db" / "migrate.py", WEB_AND_DATA) != []
    assert impurities(PACKAGE / "limits.py", IMPURE) == []
    assert any(SQL.match(text) for text in strings(PACKAGE / "db" / "settings.py"))
    assert any(call.endswith(".execute") for call in calls(PACKAGE / "db" / "settings.py"))

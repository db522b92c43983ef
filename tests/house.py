"""Reads the source tree: what the house rules are checked against."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "pitapp"
NOT_ROOMS = {"db", "web"}


def python_files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*.py") if "__pycache__" not in path.parts)


def packages() -> list[Path]:
    """Return every folder of the app that holds Python files, the app's own included."""
    return sorted({path.parent for path in python_files(PACKAGE)})


def room_of(module: str) -> str:
    """Return the room that a module belongs to, or "" for what belongs to none.

    >>> room_of("pitapp.gearing.formulas"), room_of("pitapp.db.connect"), room_of("pitapp.units")
    ('gearing', '', '')
    """
    parts = module.split(".")
    if parts[0] != "pitapp" or len(parts) < 2 or parts[1] in NOT_ROOMS:
        return ""
    return parts[1] if (PACKAGE / parts[1]).is_dir() else ""


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def module_path(module: str) -> Path | None:
    """Return the file of a module of this project, or None for anybody else's."""
    stem = ROOT.joinpath(*module.split("."))
    for path in (stem.with_suffix(".py"), stem / "__init__.py"):
        if path.is_file():
            return path
    return None


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def _for_type_checkers(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)


def nodes(top: ast.AST, *, deep: bool = True) -> Iterator[ast.AST]:
    """Walk what runs; without `deep`, only what runs on import (no function bodies)."""
    for child in ast.iter_child_nodes(top):
        if _for_type_checkers(child):
            continue
        yield child
        if deep or not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            yield from nodes(child, deep=deep)


def imports(path: Path, *, deep: bool = True) -> set[str]:
    """Return the modules that a file imports; `from a import b` gives a.b where that is a module.

    A relative import is resolved to the full name.
    """
    package = module_name(path) if path.name == "__init__.py" else module_name(path.parent)
    found = set()
    for node in nodes(tree(path), deep=deep):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1]
            start = ".".join(
                [*(above if node.level else []), *([node.module] if node.module else [])]
            )
            found |= {
                f"{start}.{alias.name}" if module_path(f"{start}.{alias.name}") else start
                for alias in node.names
            }
    return found


def reached(path: Path) -> dict[Path, str]:
    """Return every file of the app that importing `path` brings in, and by way of which file."""
    found: dict[Path, str] = {path: "itself"}
    waiting = [path]
    while waiting:
        here = waiting.pop()
        deep = here.name != "__init__.py"
        for module in imports(here, deep=deep) | {module_name(here)}:
            parts = module.split(".")
            for depth in range(1, len(parts) + 1):
                file = module_path(".".join(parts[:depth]))
                if file and file not in found and PACKAGE in file.parents:
                    found[file] = module_name(here)
                    waiting.append(file)
    return found


def calls(path: Path) -> set[str]:
    """Return the names called in a file, as written: `datetime.now`, `connection.execute`."""
    return {ast.unparse(node.func) for node in ast.walk(tree(path)) if isinstance(node, ast.Call)}


def strings(path: Path) -> list[str]:
    """Return the texts in a file that are no docstrings."""
    top = tree(path)
    docs = {
        id(node.body[0].value)
        for node in ast.walk(top)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    return [
        node.value
        for node in ast.walk(top)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
    ]


def shown(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()

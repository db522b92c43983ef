"""Files: vendored ones unchanged, and tests that test."""

from __future__ import annotations

import ast
import hashlib
from pathlib import Path

import pytest

from tests.house import ROOT, shown

VENDOR = ROOT / "static" / "vendor"
SUMS = sorted(VENDOR.rglob("SHA256SUMS"))
CHECKS = [
    path
    for folder in (ROOT / "tests", ROOT / "e2e")
    for path in sorted(folder.rglob("*"))
    if path.suffix in {".py", ".js"}
]
TESTS = [path for path in CHECKS if path.name.startswith("test_") and path.suffix == ".py"]
CHECKING = ("assert", "check", "expect", "verify", "raises", "warns", "fail")


def test_vendored_files_are_as_they_were_published() -> None:
    listed = set()
    for sums in SUMS:
        for line in sums.read_text(encoding="utf-8").splitlines():
            digest, name = line.split(maxsplit=1)
            path = sums.parent / name.lstrip("*")
            assert hashlib.sha256(path.read_bytes()).hexdigest() == digest, shown(path)
            listed.add(path)
    present = {path for path in VENDOR.rglob("*") if path.is_file()} - set(SUMS)
    assert listed == present
    assert listed


def left_out(source: str) -> list[str]:
    """Return the ways in which a test file would leave a test out."""
    return [
        node.attr
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Attribute)
        and node.attr in {"skip", "skipif", "xfail", "importorskip", "skipTest"}
    ]


def idle_tests(source: str) -> list[str]:
    """Return the tests that cannot fail: neither they nor their helpers in the file assert."""
    functions = {
        node.name: node
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    }

    def asserts(name: str, above: frozenset[str] = frozenset()) -> bool:
        for node in ast.walk(functions[name]):
            if isinstance(node, ast.Assert):
                return True
            if isinstance(node, ast.Call):
                called = ast.unparse(node.func).rsplit(".", 1)[-1]
                if any(word in called for word in CHECKING):
                    return True
                fresh = called in functions and called not in above | {name}
                if fresh and asserts(called, above | {name}):
                    return True
        return False

    return [name for name in functions if name.startswith("test_") and not asserts(name)]


@pytest.mark.parametrize("path", TESTS, ids=shown)
def test_no_test_is_left_out(path: Path) -> None:
    assert left_out(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", TESTS, ids=shown)
def test_every_test_can_fail(path: Path) -> None:
    assert idle_tests(path.read_text(encoding="utf-8")) == []


def test_idle_and_left_out_tests_are_seen() -> None:
    assert idle_tests("def test_a():\n    run()") == ["test_a"]
    assert idle_tests("def helps():\n    assert x\ndef test_a():\n    helps()") == []
    assert idle_tests("def test_a(page):\n    expect(page).to_have_title('x')") == []
    assert left_out("import pytest\n@pytest.mark.skipif(True)\ndef test_a(): ...") == ["skipif"]
    assert left_out("import pytest\ndef test_a(): pytest.skip('no')") == ["skip"]

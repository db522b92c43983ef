"""Dependencies: a range for each, a lock that keeps to it, and checks that cannot pass by looking away."""

from __future__ import annotations

import importlib.util
import tomllib
from types import ModuleType
from typing import Any

import pytest
from packaging.requirements import Requirement

from tests.house import ROOT


@pytest.fixture(scope="module")
def checks() -> ModuleType:
    spec = importlib.util.spec_from_file_location("ci", ROOT / ".ci" / "dependencies.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def requirements() -> list[Requirement]:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    project = settings["project"]
    listed = project["dependencies"] + settings["build-system"]["requires"]
    for extra in project["optional-dependencies"].values():
        listed += extra
    return [Requirement(each) for each in listed if not each.startswith("pitapp")]


@pytest.mark.parametrize("requirement", requirements(), ids=lambda each: each.name)
def test_each_dependency_has_a_range_and_the_lock_is_in_it(
    requirement: Requirement, checks: ModuleType
) -> None:
    bounds = {each.operator for each in requirement.specifier}
    assert bounds == {">=", "<"}
    version = checks.pinned(checks.LOCK.read_text())[requirement.name]
    assert requirement.specifier.contains(version)


def test_what_is_installed_beside_the_lock_is_found(checks: ModuleType) -> None:
    lock = "# made by hand\nFlask==3.1.3\nMarkup_Safe==3.0\n"
    assert checks.not_locked("flask==3.1.3\nmarkup-safe==3.0\n", lock) == []
    assert checks.not_locked("flask==3.1.4\nother==1\n", lock) == [
        "flask==3.1.4 is installed, locked is 3.1.3",
        "other==1 is installed, locked is nothing",
    ]


HOLE = {"name": "a", "version": "1", "vulns": [{"id": "CVE-0"}]}
SOUND = {"name": "b", "version": "2", "vulns": []}
PASSED_OVER = {"name": "c", "skip_reason": "not found"}


@pytest.mark.parametrize(
    ("trial", "found", "code", "said"),
    [
        ([PASSED_OVER], [SOUND], 0, "not audited (no advisory database in reach)"),
        ([SOUND], [SOUND], 0, "not audited (no advisory database in reach)"),
        (None, None, 0, "not audited (no advisory database in reach)"),
        ([HOLE], [SOUND, PASSED_OVER], 0, "1 audited, 0 known holes (pypi)\nnot audited: c"),
        ([HOLE], [SOUND, HOLE], 1, "2 audited, 1 known holes (pypi)\na 1: CVE-0"),
    ],
)
def test_a_database_that_knows_nothing_counts_as_none(
    checks: ModuleType,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    trial: Any,
    found: Any,
    code: int,
    said: str,
) -> None:
    def asked(requirements: str, _service: str) -> Any:
        answer = trial if requirements == checks.KNOWN_HOLE else found
        return None if answer is None else {"dependencies": answer}

    monkeypatch.setattr(checks, "asked", asked)
    assert checks.audit() == code
    assert said in capsys.readouterr().out

"""The documents lead where they say: every file that they name is there, and the map stays a map."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.house import ROOT

SECURITY = "pitapp/web/http/SECURITY.md"
FILE = re.compile(r"`((?:[\w.<>-]+/)+[\w<>-]+\.(?:py|js|html|css|sql|md))(?::[^`]*)?`")
TEST = re.compile(r"`((?:e2e/)?test_\w+)`")
LINK = re.compile(r"\]\(([^)#:]+)(?:#[^)]*)?\)")
LONGEST_MAP = 6 * 1024
MOST_FILES = 3


def there(name: str) -> bool:
    """Whether such a file is in the project, named from its top, from the package or from static."""
    return any((ROOT / top / name).exists() for top in ("", "pitapp", "static"))


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", SECURITY])
def test_every_file_and_link_that_a_document_names_is_there(document: str) -> None:
    text = (ROOT / document).read_text()
    names = [name for name in FILE.findall(text) if "<" not in name and "NNNN" not in name]
    assert names
    assert [name for name in names if not there(name)] == []
    folder = (ROOT / document).parent
    assert [link for link in LINK.findall(text) if not (folder / link).exists()] == []
    tests = [Path(name) for name in TEST.findall(text)]
    where = {name: "" if name.parts[0] == "e2e" else "tests" for name in tests}
    assert [str(t) for t, top in where.items() if not (ROOT / top / f"{t}.py").exists()] == []


def test_each_of_the_four_troubles_leads_to_three_files_at_most() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    rows = text.split("## Four troubles")[1].split("##")[0].strip().splitlines()[2:]
    assert len(rows) == 4
    for row in rows:
        trouble, places, tests, *_ = row.strip("| ").split(" | ")
        assert 1 <= len(FILE.findall(places)) <= MOST_FILES, trouble
        assert FILE.findall(tests), trouble


def test_the_map_is_short() -> None:
    assert (ROOT / "DEVELOPERS.md").stat().st_size <= LONGEST_MAP

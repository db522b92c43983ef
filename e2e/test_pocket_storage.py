"""The data folder in the browser, by itself: files come back as they were, whichever store holds them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.offline import Phone
from e2e.pages.pocket import STARTING_AT_MOST_MS
from e2e.pocket import beside
from e2e.watch import Watch

PAGE = Path(__file__).with_name("pocket_storage")
BLOCK = 65536
SIZES = (0, 1, BLOCK - 1, BLOCK, BLOCK + 1, 3 * BLOCK + 17)
SUMS = """
import hashlib, json
from pathlib import Path
json.dumps({str(p): hashlib.sha256(p.read_bytes()).hexdigest() for p in Path("/data").rglob("*") if p.is_file()})
"""
WRITE = """
from pathlib import Path
def content(size, seed):
    return bytes((seed + at * 31) % 251 for at in range(size))
for size in {sizes}:
    Path(f"/data/{{size}}.bin").write_bytes(content(size, 1))
"""
CHANGE = """
import os
from pathlib import Path
data = Path("/data")
(data / "copies").mkdir()
(data / "copies" / "new.part").write_bytes(b"second")
(data / "copies" / "old").write_bytes(b"first, and longer than the second")
os.replace(data / "copies" / "new.part", data / "copies" / "old")
with open(data / "1.bin", "r+b") as file:
    file.seek(200000)
    file.write(b"far out")
os.truncate(data / "65537.bin", 10)
os.truncate(data / "65536.bin", 70000)
(data / "0.bin").unlink()
with open(data / "65535.bin", "ab") as file:
    file.write(b"at the end")
"""
COMMITS = """
import sqlite3
db = sqlite3.connect("/data/rows.sqlite3", isolation_level=None)
db.execute("PRAGMA journal_mode = WAL")
db.execute("PRAGMA synchronous = FULL")
db.execute("CREATE TABLE IF NOT EXISTS rows (content TEXT) STRICT")
"""


class Folder:
    """The data folder in a page that does nothing else."""

    def __init__(self, page: Page, url: str) -> None:
        self.page, self.url = page, url

    def open(self) -> Folder:
        self.page.goto(self.url)
        expect(self.page.locator("#said")).to_have_text("opened", timeout=STARTING_AT_MOST_MS)
        return self

    def run(self, code: str, *, refuse: bool = False) -> dict[str, Any]:
        """Run Python there and let the folder settle; `refuse` lets no store take anything."""
        answer: dict[str, Any] = self.page.evaluate(
            "([code, refuse]) => globalThis.run(code, refuse)", [code, refuse]
        )
        return answer

    def sums(self) -> dict[str, str]:
        """The SHA-256 of every file, by its path."""
        sums: dict[str, str] = json.loads(self.run(SUMS)["result"])
        return sums


@pytest.fixture(params=["own", "blocks"])
def folder(
    request: pytest.FixtureRequest,
    pocket_folder: Path,
    tmp_path: Path,
    watch: Watch,
    phone: Phone,
) -> Iterator[Folder]:
    """The folder in the store that the browser has, and in the one for browsers that have none."""
    server = beside(pocket_folder, tmp_path / "top", PAGE)
    watch.servers.add(server.netloc)
    yield Folder(phone.open(), f"{server.url}?store={request.param}").open()
    server.stop()


def content(size: int, seed: int = 1) -> bytes:
    return bytes((seed + at * 31) % 251 for at in range(size))


@pytest.mark.every_engine
def test_files_come_back_as_they_were(folder: Folder) -> None:
    assert "failed" not in folder.run(WRITE.format(sizes=SIZES))
    assert "failed" not in folder.run(CHANGE)
    first = bytearray(200007)
    first[:1], first[200000:] = content(1), b"far out"
    files = {
        "/data/1.bin": bytes(first),
        "/data/65535.bin": content(BLOCK - 1) + b"at the end",
        "/data/65536.bin": content(BLOCK) + bytes(70000 - BLOCK),
        "/data/65537.bin": content(10),
        f"/data/{3 * BLOCK + 17}.bin": content(3 * BLOCK + 17),
        "/data/copies/old": b"second",
    }
    sums = {path: hashlib.sha256(each).hexdigest() for path, each in files.items()}
    assert folder.sums() == sums
    assert folder.open().sums() == sums


def test_more_files_than_there_was_room_for_at_first(folder: Folder) -> None:
    for number in range(0, 60, 5):
        names = [f"/data/{each}.txt" for each in range(number, number + 5)]
        made = folder.run(f"for name in {names}: open(name, 'w').write(name)")
        assert "failed" not in made
    assert len(folder.open().sums()) == 60


def test_every_commit_reaches_the_device(folder: Folder) -> None:
    before = folder.run(COMMITS)["flushes"]
    for number in range(20):
        after = folder.run(f"db.execute('INSERT INTO rows VALUES ({number})')")["flushes"]
        assert after > before
        before = after
    assert folder.run("db.execute('SELECT count(*) FROM rows').fetchone()[0]")["flushes"] == before


def test_what_no_store_takes_is_not_said_to_be_kept(folder: Folder) -> None:
    folder.run(COMMITS)
    folder.run("db.execute(\"INSERT INTO rows VALUES ('kept')\")")
    refused = folder.run("db.execute(\"INSERT INTO rows VALUES ('refused')\")", refuse=True)
    assert "failed" in refused
    folder.open()
    there = folder.run(
        COMMITS + "[row[0] for row in db.execute('SELECT content FROM rows')].__repr__()"
    )
    assert there["result"] == "['kept']"
    assert folder.run("db.execute('PRAGMA integrity_check').fetchone()[0]")["result"] == "ok"

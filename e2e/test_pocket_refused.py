"""In the phone's own browser: what the browser does not give, and what is brought there in bad faith, is a sentence."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from shutil import copytree

import pytest
from playwright.sync_api import expect

from e2e.pages.copies import Copies
from e2e.pages.kit import Kit, NewCar
from e2e.pages.offline import Phone
from e2e.pages.pocket import STARTING_AT_MOST_MS, Shell
from e2e.pocket import UNDER, StaticServer
from e2e.watch import Watch

# What a browser answers that lets a site store nothing.
REFUSE = 'throw new DOMException("The operation is insecure.", "SecurityError");'
NO_STORE = {
    "its files and its database": (
        "delete FileSystemFileHandle.prototype.createSyncAccessHandle;\n"
        f"IDBFactory.prototype.open = () => {{ {REFUSE} }};\n"
    ),
    "its cache": f"CacheStorage.prototype.open = async () => {{ {REFUSE} }};\n",
}


@pytest.fixture
def site_with(
    pocket_folder: Path, tmp_path: Path, watch: Watch
) -> Iterator[Callable[[str], StaticServer]]:
    """The folder with a script that runs before all else in Python's worker."""
    servers: list[StaticServer] = []

    def make(script: str) -> StaticServer:
        top = Path(copytree(pocket_folder, tmp_path / "top"))
        worker = top / UNDER / "python.js"
        worker.write_text(script + worker.read_text())
        servers.append(StaticServer(top))
        watch.servers.add(servers[0].netloc)
        return servers[0]

    yield make
    for server in servers:
        server.stop()


@pytest.mark.parametrize("what", NO_STORE)
def test_a_browser_that_keeps_nothing_is_told_of_and_not_started(
    site_with: Callable[[str], StaticServer], phone: Phone, what: str
) -> None:
    server = site_with(NO_STORE[what])
    page = phone.open()
    page.goto(server.url)
    trouble = page.locator("#trouble")
    expect(trouble).to_contain_text(
        "This browser lets pitapp keep nothing", timeout=STARTING_AT_MOST_MS
    )
    expect(trouble).to_contain_text("a window that is not private")
    expect(page.locator("#app")).to_be_hidden()
    expect(page.locator("#again")).to_be_visible()


AT_TIMES = """
const given = StorageManager.prototype.getDirectory;
StorageManager.prototype.getDirectory = async function () {
  if (await caches.has("broken")) throw new DOMException("It is not there.", "InvalidStateError");
  return given.call(this);
};
"""


def test_files_that_do_not_open_for_once_are_not_taken_for_no_data(
    site_with: Callable[[str], StaticServer], phone: Phone
) -> None:
    server = site_with(AT_TIMES)
    page = phone.open()
    Shell(page, server.url).open()
    page.evaluate("caches.open('broken')")
    page.reload()
    expect(page.locator("#trouble")).to_contain_text(
        "They are still there", timeout=STARTING_AT_MOST_MS
    )
    expect(page.locator("#app")).to_be_hidden()
    page.evaluate("caches.delete('broken')")
    Shell(page, server.url).open()


def test_data_that_were_kept_elsewhere_for_once_are_found_when_the_files_open(
    site_with: Callable[[str], StaticServer], phone: Phone
) -> None:
    server = site_with(AT_TIMES)
    page = phone.open()
    page.route("**/favicon.ico", lambda route: route.fulfill(status=204))
    page.goto(f"{server.url}LICENCES.txt")  # nothing starts there
    page.evaluate("caches.open('broken')")
    shell = Shell(page, server.url)
    shell.open()
    other = phone.another_page()
    NewCar(other, shell.app).open().add("Invented TC", "1.9", "64 DP", "63.5")
    expect(other.get_by_text("Invented TC").first).to_be_visible()
    other.close()
    page.evaluate("caches.delete('broken')")
    page.reload()
    shell.expect_app()
    other = phone.another_page()
    Kit(other, shell.app).open()
    expect(other.get_by_text("Invented TC").first).to_be_visible()


def test_a_browser_that_makes_no_promise_is_told_of(
    pocket_site: StaticServer, phone: Phone
) -> None:
    Shell(phone.open(), pocket_site.url).open()
    page = phone.another_page()
    page.add_init_script(
        "for (const name of ['persist', 'persisted']) StorageManager.prototype[name] = async () => false;"
    )
    page.goto(f"{pocket_site.url}app/settings")
    page.locator("#keep-storage").tap()
    expect(page.locator("#own-storage")).to_contain_text("did not promise to keep your data")
    expect(page.locator("#keep-storage")).to_be_visible()


def _hostile(folder: Path) -> list[Path]:
    """Noise, a database that is cut off, another program's, and one of a newer version."""
    noise, cut, other, newer = (folder / f"{name}.sqlite3" for name in ("noise", "cut", "b", "c"))
    noise.write_bytes(bytes(range(256)) * 64)
    cut.write_bytes(b"SQLite format 3\x00" + b"\xff" * 9000)
    with closing(sqlite3.connect(other)) as db:
        db.executescript("CREATE TABLE cars (id INTEGER); CREATE TABLE runs (id INTEGER);")
    with closing(sqlite3.connect(newer)) as db:
        db.executescript("CREATE TABLE cars (id INTEGER); PRAGMA user_version = 9999;")
    return [noise, cut, other, newer]


def test_a_hostile_copy_changes_nothing(
    pocket_site: StaticServer, phone: Phone, tmp_path: Path, watch: Watch
) -> None:
    watch.allow("status of 422")
    shell = Shell(phone.open(), pocket_site.url)
    shell.open()
    page = phone.another_page()
    NewCar(page, shell.app).open().add("Invented TC", "1.9", "64 DP", "63")
    expect(page.locator("body")).to_contain_text("Invented TC")
    for file in _hostile(tmp_path):
        copies = Copies(page, shell.app).open()
        copies.look_at(file)
        expect(page.locator("#file-error")).to_be_visible()
        expect(page.get_by_role("button", name="Bring this back")).to_have_count(0)
    kit = Kit(page, shell.app).open()
    expect(kit.page.locator("main")).to_contain_text("Invented TC")

"""In the phone's own browser: a copy leaves by a download or by the share sheet, and the Board says of when it is."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from playwright.sync_api import expect

from e2e.pages.copies import Copies
from e2e.pages.kit import NewCar
from e2e.pages.offline import Phone
from e2e.pages.pocket import Shell
from e2e.pocket import StaticServer

# What a phone's share sheet takes, put where a browser on a desk has none.
SHARE_SHEET = """
    window.shared = [];
    navigator.canShare = ({ files }) => files.every((file) => file.name.endsWith(".sqlite3"));
    navigator.share = async ({ files: [file] }) => {
        const bytes = new Uint8Array(await file.arrayBuffer());
        window.shared.push({ name: file.name, bytes: Array.from(bytes) });
    };
"""


def cars(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as copy:
        return [name for (name,) in copy.execute("SELECT name FROM cars")]


def test_the_board_knows_of_a_copy_that_was_downloaded_or_shared(
    pocket_site: StaticServer, phone: Phone, tmp_path: Path
) -> None:
    shell = Shell(phone.open(), pocket_site.url)
    shell.open()
    page = phone.another_page()
    NewCar(page, shell.app).open().add("Invented TC", "1.9", "64 DP", "63")
    expect(page.locator("body")).to_contain_text("Invented TC")
    copies = Copies(page, shell.app).open()
    expect(page.locator("#copy-away")).to_contain_text("None was downloaded or shared yet")
    assert cars(copies.take_away(tmp_path / "downloaded.sqlite3")) == ["Invented TC"]
    page.goto(f"{shell.app}/")
    line = page.locator("a.verdict", has_text="Copy: of today")
    expect(line).to_contain_text("All that is here is in it.")

    NewCar(page, shell.app).open().add("Second TC", "1.9", "64 DP", "63")
    expect(page.locator("body")).to_contain_text("Second TC")
    page.goto(f"{shell.app}/")
    expect(line).to_contain_text("What is newer is in this browser alone.")
    page.add_init_script(SHARE_SHEET)
    line.tap()
    copies.make()
    expect(page.locator("#copy-away")).to_contain_text("What is newer is in this browser alone.")
    page.locator("form[data-share] button").tap()
    expect(page.locator("#copy-away")).to_contain_text("All that is here is in it.")


def test_what_is_shared_is_the_copy_itself(
    pocket_site: StaticServer, phone: Phone, tmp_path: Path
) -> None:
    shell = Shell(phone.open(), pocket_site.url)
    shell.open()
    page = phone.another_page()
    page.add_init_script(SHARE_SHEET)
    # The page that the note leads to would forget what was shared.
    page.add_init_script("HTMLFormElement.prototype.requestSubmit = () => {};")
    NewCar(page, shell.app).open().add("Invented TC", "1.9", "64 DP", "63")
    expect(page.locator("body")).to_contain_text("Invented TC")
    copies = Copies(page, shell.app).open()
    copies.make()
    page.locator("form[data-share] button").tap()
    page.wait_for_function("() => window.shared.length === 1")
    (shared,) = page.evaluate("window.shared")
    file = tmp_path / shared["name"]
    file.write_bytes(bytes(shared["bytes"]))
    assert cars(file) == ["Invented TC"]

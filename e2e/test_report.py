"""A meeting on one page, through the phone's share sheet, and copied for the next one."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page, expect

from e2e.pages.meetings import MeetingPage
from e2e.server import Live
from pitapp.demo import fill

# What a phone's share sheet takes, put where a browser on a desk has none.
SHARE_SHEET = """() => {
    window.shared = [];
    navigator.canShare = ({ files }) => files.length === 1;
    navigator.share = async ({ files, title }) => {
        window.shared.push({ title, name: files[0].name, type: files[0].type, text: await files[0].text() });
    };
}"""


def test_a_past_meeting_is_shared_as_a_page_and_copied_for_the_next(live: Live, page: Page) -> None:
    fill(live.app)
    page.add_init_script(f"({SHARE_SHEET})()")
    screen = MeetingPage(page, live.url)
    page.goto(f"{live.url}/meetings")
    page.locator(".rows a.row").nth(2).tap()
    page.get_by_role("link", name="Report").tap()
    expect(page.get_by_role("button", name="Share")).to_be_visible()
    screen.check_usable()
    screen.press("Share")
    page.wait_for_function("() => window.shared.length === 1")
    (shared,) = page.evaluate("window.shared")
    assert (shared["type"], shared["name"][-5:]) == ("text/html", ".html")
    assert "Best lap" in shared["text"] or "best lap" in shared["text"]
    assert "href" not in shared["text"]
    page.go_back()
    expect(screen.entries().first).to_be_visible()
    before = screen.entries().all_inner_texts()
    page.get_by_role("link", name="Copy for the next meeting").tap()
    expect(page.get_by_label("Date")).to_be_visible()
    screen.check_usable()
    screen.press("Make the new meeting")
    expect(page.locator(".undo-bar")).to_contain_text("Made")
    assert screen.entries().all_inner_texts() == before
    screen.press("Undo")
    expect(page.locator("#notices")).to_contain_text("Undone")


def test_without_a_share_sheet_the_page_is_saved(live: Live, page: Page) -> None:
    fill(live.app)
    page.add_init_script("Object.defineProperty(navigator, 'canShare', { value: undefined })")
    page.goto(f"{live.url}/meetings")
    page.locator(".rows a.row").nth(2).tap()
    page.get_by_role("link", name="Report").tap()
    with page.expect_download() as download:
        page.get_by_role("button", name="Save as a page").tap()
    text = Path(download.value.path()).read_text(encoding="utf-8")
    assert "<h2>Runs</h2>" in text
    expect(page.get_by_role("heading", name="Learned")).to_be_visible()

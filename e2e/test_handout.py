"""Handed out as a square, read by another reader, and taken: from a server, and in the phone's own browser."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from e2e.pages.offline import Phone
from e2e.pages.pocket import Shell
from e2e.pixels import colours
from e2e.pocket import StaticServer
from e2e.server import Live
from e2e.watch import Watch
from pitapp.handout import link
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting
from pitapp.tracks import store as tracks
from tests.handed import CLASS, CLUB, TIMETABLE, TRACK

# A detector as some browsers have one, put where this one has none: it reads what the test has read.
DETECTOR = """(text) => {
    globalThis.BarcodeDetector = class {
        static async getSupportedFormats() { return ["qr_code"]; }
        async detect(image) { return image.width > 50 ? [{ rawValue: text }] : []; }
    };
}"""


def hand_out_a_meeting(live: Live) -> int:
    """A meeting with its class, its track and its timetable, as a club has it."""
    db = live.app.extensions["pitapp.db"].connection()
    class_id, _ = meetings.save_class(db, CLASS, live.clock())
    track_id, _ = tracks.save_track(db, TRACK, live.clock())
    day = Meeting(
        day=TIMETABLE.day,
        name=TIMETABLE.name,
        time_zone=TIMETABLE.time_zone,
        race_class_id=class_id,
        track_id=track_id,
    )
    entries = [Entry(each.kind, each.starts_at) for each in TIMETABLE.entries]
    return meetings.save_meeting(db, day, live.clock(), entries)[0]


def read_by_zxing(png: bytes) -> str:
    """The text of the one QR code in a picture, by a reader that knows nothing of pitapp."""
    import zxingcpp

    picture = np.array(colours(png), dtype=np.uint8)
    (square,) = zxingcpp.read_barcodes(picture)
    assert "QR" in str(square.format)
    return str(square.text)


def test_a_square_is_read_by_another_reader_and_taken_with_one_tap(
    live: Live, page: Page, pocket_site: StaticServer, phone: Phone
) -> None:
    page.goto(f"{live.url}/handout/meetings/{hand_out_a_meeting(live)}")
    text = read_by_zxing(page.locator("#square").screenshot())
    assert text == page.locator("#link").input_value()
    assert link.read(text) == CLUB

    shell = Shell(phone.open(), pocket_site.url)
    shell.open(f"/handout/take#{text.rpartition('#')[2]}")
    pocket_site.stop()
    app = shell.page.frame_locator("#app")
    expect(app.get_by_role("heading", name="Class: Invented Stock")).to_be_visible()
    expect(app.get_by_role("heading", name="Track: Invented Hall")).to_be_visible()
    app.get_by_role("button", name="Take it").tap()
    expect(app.locator("#notices")).to_contain_text("Took Invented Stock, Invented Hall, Round 3")
    beside = phone.another_page()
    beside.goto(f"{shell.app}/meetings")
    beside.get_by_role("link", name="Round 3").first.tap()
    for each in TIMETABLE.entries:
        expect(beside.locator("main")).to_contain_text(each.title)


def test_a_photograph_of_a_square_is_read_where_the_browser_can(
    live: Live, page: Page, tmp_path: Path
) -> None:
    page.goto(f"{live.url}/handout/meetings/{hand_out_a_meeting(live)}")
    photograph = tmp_path / "square.png"
    photograph.write_bytes(page.locator("#square").screenshot())
    text = read_by_zxing(photograph.read_bytes())
    page.goto(f"{live.url}/handout/take")
    page.locator("summary").tap()
    expect(page.locator("#no-reader")).to_be_visible()
    expect(page.locator("#square-photo")).to_be_hidden()

    page.add_init_script(f"({DETECTOR})({text!r})")
    page.reload()
    page.locator("summary").tap()
    page.locator("#square-photo").set_input_files(photograph)
    expect(page.locator("#link")).to_have_value(text)
    page.get_by_role("button", name="Look at it").tap()
    expect(page.get_by_text("Here already")).to_have_count(3)


@pytest.mark.browser_context_args(permissions=["clipboard-read", "clipboard-write"])
def test_a_link_is_copied_and_pasted(live: Live, page: Page, watch: Watch) -> None:
    watch.allow("status of 422")
    page.goto(f"{live.url}/handout/meetings/{hand_out_a_meeting(live)}")
    page.locator("#copy-link").tap()
    expect(page.locator("#link-answer")).to_have_text("Copied.")
    text = page.evaluate("navigator.clipboard.readText()")
    assert link.read(text) == CLUB
    page.goto(f"{live.url}/handout/take")
    page.locator("#link").fill(text[:-3])
    page.get_by_role("button", name="Look at it").tap()
    expect(page.locator("#link-error")).to_contain_text("damaged or was cut off")

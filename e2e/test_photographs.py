"""A photograph: made small on the phone, without its place, with no server too, and taken back."""

from __future__ import annotations

import base64
import random
import re
import struct
import zlib

from playwright.sync_api import FilePayload, Page, expect

from e2e.pages.base import Screen
from e2e.pages.offline import Phone, bars, visit_once
from e2e.server import Live, ServerProcess, rows
from pitapp.db.connect import connect
from pitapp.runs import store as runs
from pitapp.runs.photographs import store
from tests.runs_support import a_run, furnish

MOST_BYTES = 200_000
# A canvas's own JPEG, as a phone's camera would give one.
TAKEN = """() => {
    const canvas = document.createElement('canvas');
    canvas.width = 640;
    canvas.height = 480;
    const drawing = canvas.getContext('2d');
    drawing.fillStyle = 'rgb(200, 40, 20)';
    drawing.fillRect(0, 0, 640, 480);
    return canvas.toDataURL('image/jpeg').split(',')[1];
}"""
PLACE = b"Exif\0\0MM\0*\0\0\0\x08\0\0PLACE: 51.5 N"
MIDDLE = """async (address) => {
    const image = new Image();
    image.src = address;
    await image.decode();
    const canvas = document.createElement('canvas');
    canvas.width = image.naturalWidth;
    canvas.height = image.naturalHeight;
    const drawing = canvas.getContext('2d');
    drawing.drawImage(image, 0, 0);
    return [canvas.width, canvas.height, ...drawing.getImageData(canvas.width / 2, canvas.height / 2, 1, 1).data];
}"""


def with_place(page: Page) -> FilePayload:
    """A red picture of 640 × 480 that says where it was taken."""
    data = base64.b64decode(page.evaluate(TAKEN))
    segment = struct.pack(">BBH", 0xFF, 0xE1, len(PLACE) + 2) + PLACE
    return {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": data[:2] + segment + data[2:]}


def noise() -> FilePayload:
    """A picture of 2000 × 1500 that no coding makes small (PNG, ISO/IEC 15948)."""
    rng = random.Random(7)
    lines = b"".join(b"\0" + rng.randbytes(3 * 2000) for _ in range(1500))
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", 2000, 1500, 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(lines, 1)),
        (b"IEND", b""),
    )
    data = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )
    return {"name": "noise.png", "mimeType": "image/png", "buffer": data}


def test_a_photograph_is_small_says_no_place_and_can_be_taken_back(live: Live, page: Page) -> None:
    db = connect(live.database)
    furnish(db, live.clock())
    run_id, _ = runs.save_run(db, a_run(), live.clock())
    page.goto(f"{live.url}/runs/{run_id}")
    page.get_by_role("link", name="Add a photograph").tap()
    expect(page.get_by_label("Photograph", exact=True)).to_be_visible()
    screen = Screen(page, live.url)
    screen.check_usable()
    page.get_by_label("Photograph", exact=True).set_input_files(with_place(page))
    expect(page.get_by_text("640 × 480")).to_be_visible()
    page.get_by_label("Caption").fill("Left rear")
    screen.press("Keep the photograph")
    expect(page.get_by_role("img", name="Left rear")).to_be_visible()
    screen.check_usable()
    (item,) = store.of_run(db, run_id)
    picture = store.picture(db, item.id)
    assert b"PLACE" not in picture.data
    assert b"Exif" not in picture.data
    width, height, red, green, blue, _ = page.evaluate(MIDDLE, f"/runs/photographs/{item.id}.jpg")
    assert (width, height) == (640, 480)
    assert max(abs(red - 200), abs(green - 40), abs(blue - 20)) < 12
    page.get_by_label("Photograph", exact=True).set_input_files(noise())
    expect(page.get_by_text(re.compile(r"\d+ × \d+, \d+ kB"))).to_be_visible(timeout=60_000)
    screen.press("Keep the photograph")
    expect(page.get_by_role("img")).to_have_count(2)
    large = store.of_run(db, run_id)[1]
    assert 50_000 < large.size_bytes <= MOST_BYTES
    screen.press("Remove Left rear")
    expect(page.get_by_role("img")).to_have_count(1)
    screen.press("Undo")
    expect(page.get_by_role("img", name="Left rear")).to_be_visible()
    db.close()


def test_one_taken_with_no_signal_arrives_once(server: ServerProcess, phone: Phone) -> None:
    before = len(rows(server, "SELECT id FROM photographs"))
    page = phone.open()
    visit_once(page, server.url)
    page.goto(f"{server.url}/runs/1/photographs")
    server.kill()
    page.get_by_label("Photograph", exact=True).set_input_files(with_place(page))
    expect(page.get_by_text("640 × 480")).to_be_visible()
    page.get_by_label("Caption").fill("In the paddock")
    page.get_by_role("button", name="Keep the photograph").tap()
    expect(bars(page)).to_contain_text("In the paddock", timeout=30_000)
    expect(bars(page)).not_to_contain_text("_9j_")
    server.start()
    page.goto(server.url)
    expect(bars(page)).not_to_contain_text("Waiting", timeout=60_000)
    after = rows(server, "SELECT caption FROM photographs ORDER BY id")
    assert (len(after), after[-1]) == (before + 1, ("In the paddock",))


def test_a_run_that_waits_takes_its_photograph_along(server: ServerProcess, phone: Phone) -> None:
    before = len(rows(server, "SELECT id FROM photographs"))
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    page.goto(f"{server.url}/runs/new")
    page.get_by_label("Remarks").fill("With a picture")
    page.get_by_text("A photograph", exact=True).tap()
    page.get_by_label("Photograph", exact=True).set_input_files(with_place(page))
    expect(page.get_by_text("640 × 480")).to_be_visible()
    if page.locator("[name=pack_id]:checked").count() == 0:
        page.locator("[name=pack_id] + span").first.tap()
    page.get_by_role("button", name="Save").first.tap()
    expect(bars(page)).to_contain_text("Remarks With a picture", timeout=30_000)
    expect(bars(page)).not_to_contain_text("_9j_")
    server.start()
    page.goto(server.url)
    expect(bars(page)).not_to_contain_text("Waiting", timeout=60_000)
    after = rows(
        server,
        "SELECT runs.remarks, width_px FROM photographs JOIN runs ON runs.id = run_id "
        "ORDER BY photographs.id",
    )
    assert (len(after), after[-1]) == (before + 1, ("With a picture", 640))

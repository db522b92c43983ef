"""Photographs: nothing but the picture is kept, it goes where it belongs, and comes back from files and copies."""

from __future__ import annotations

import base64
import io
import re
import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import pytest
from flask import Flask

from pitapp.copies import store as copies
from pitapp.db import transaction
from pitapp.errors import NotThere, Refused
from pitapp.exchange import document, sheets
from pitapp.runs import store as runs
from pitapp.runs.photographs import store
from pitapp.runs.photographs.jpeg import Picture, bare_jpeg
from pitapp.runs.photographs.models import MOST_BYTES, picture_in, written
from pitapp.web.clock import zone
from tests.runs_support import Pit, a_run, furnish
from tests.support import RACE_MORNING, PageClient

SOI, EOI = b"\xff\xd8", b"\xff\xd9"


def segment(marker: int, content: bytes) -> bytes:
    """A marker segment by ITU-T T.81, B.1.1.4: the length counts itself."""
    return struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content


JFIF = segment(0xE0, b"JFIF\0\x01\x01\0\0\x01\0\x01\0\0")
QUANTISATION = segment(0xDB, b"\0" + bytes(range(1, 65)))
FRAME = segment(0xC0, struct.pack(">BHHB", 8, 48, 64, 1) + b"\x01\x11\0")
HUFFMAN = segment(0xC4, b"\0" + b"\0\x01" + bytes(14) + b"\0")
SCAN = segment(0xDA, b"\x01\x01\0\0\x3f\0") + b"\x12\xff\x00\x34\xff\xd0\x56\xff\x00"
# Exif 2.32 (JEITA CP-3451), 4.6.3 and 4.6.6: a TIFF header, one directory whose tag 0x8825 leads to
# the GPS directory with the latitude's half (tag 1) "N".
GPS = struct.pack(">H", 1) + struct.pack(">HHI4s", 1, 2, 2, b"N\0\0\0") + struct.pack(">I", 0)
TIFF = b"MM\0*" + struct.pack(">I", 8)
TIFF += struct.pack(">H", 1) + struct.pack(">HHII", 0x8825, 4, 1, 26) + struct.pack(">I", 0) + GPS
EXIF = segment(0xE1, b"Exif\0\0" + TIFF)
XMP = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>51.5,-0.1</x:xmpmeta>")
REMARK = segment(0xFE, b"taken by an invented phone at home")
ICC = segment(0xE2, b"ICC_PROFILE\0\x01\x01profile")
PLAIN = SOI + JFIF + QUANTISATION + FRAME + HUFFMAN + SCAN + EOI
TALKATIVE = (
    SOI + JFIF + EXIF + XMP + ICC + REMARK + QUANTISATION + FRAME + HUFFMAN + SCAN + EOI
) + b"motion clip behind the end"


def test_all_but_the_picture_is_left_out() -> None:
    assert b"Exif" in TALKATIVE
    assert bare_jpeg(TALKATIVE) == Picture(PLAIN, 64, 48)
    assert bare_jpeg(PLAIN).data == PLAIN


def test_a_progressive_picture_keeps_all_its_scans() -> None:
    """ITU-T T.81, annex G: tables may stand between the scans."""
    progressive = segment(0xC2, struct.pack(">BHHB", 8, 48, 64, 1) + b"\x01\x11\0")
    data = SOI + QUANTISATION + progressive + HUFFMAN + SCAN + HUFFMAN + SCAN + EOI
    assert bare_jpeg(data).data == data
    remarked = data.replace(SCAN + HUFFMAN, SCAN + REMARK + HUFFMAN)
    assert bare_jpeg(remarked).data == data


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x89PNG\r\n\x1a\n" + bytes(50),
        PLAIN[:-2],
        PLAIN[:40],
        SOI + EOI,
        SOI + b"\xff\xc0\xff\xff",
        SOI + FRAME.replace(struct.pack(">HH", 48, 64), bytes(4)) + SCAN + EOI,
        b"<svg onload='x()'>",
    ],
)
def test_what_is_no_whole_jpeg_is_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="JPEG"):
        bare_jpeg(data)


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    pit = furnish(db)
    runs.save_run(db, a_run(), RACE_MORNING)
    return pit


def undo_path(page: str) -> str:
    found: list[str] = re.findall(r'action="(/undo/[^"]+)"', page)
    return found[-1]


def test_a_photograph_of_a_run_is_kept_shown_removed_and_undone(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    values = {"photo": written(TALKATIVE), "caption": "Left rear"}
    page = client.post_form("/runs/1/photographs", values, follow_redirects=True).text
    assert 'src="/runs/photographs/1.jpg"' in page
    assert 'alt="Left rear"' in page
    answer = client.get("/runs/photographs/1.jpg")
    assert (answer.content_type, answer.get_data()) == ("image/jpeg", PLAIN)
    assert "Photographs</a>" in client.get("/runs/1").text
    removed = client.post_form("/runs/photographs/1/remove", follow_redirects=True).text
    assert client.get("/runs/photographs/1.jpg").status_code == 404
    client.post_form(undo_path(removed))
    assert client.get("/runs/photographs/1.jpg").get_data() == PLAIN
    added = client.post_form("/runs/1/photographs", values, follow_redirects=True).text
    client.post_form(undo_path(added))
    assert [each.id for each in store.of_run(db, 1)] == [1]


def test_without_scripts_a_small_jpeg_is_taken_as_a_file_and_stripped(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    def send(data: bytes) -> tuple[int, str]:
        answer = client.post_form(
            "/runs/setup/photographs",
            {"file": (io.BytesIO(data), "IMG_1.jpg"), "car_id": str(pit.car)},
            content_type="multipart/form-data",
        )
        return answer.status_code, answer.text

    assert send(TALKATIVE)[0] == 303
    (item,) = store.of_setup(db, pit.car)
    assert store.picture(db, item.id).data == PLAIN
    status, text = send(b"GIF89a")
    assert (status, 'id="file-error"' in text) == (422, True)
    status, text = send(PLAIN + bytes(MOST_BYTES))
    assert (status, "200 kB" in text) == (422, True)
    assert len(store.of_setup(db, pit.car)) == 1


@pytest.mark.parametrize("photo", ["", "%%%", "A", written(b"GIF89a"), "A" * 300_000])
def test_a_text_that_is_no_photograph_is_refused_at_its_field(
    client: PageClient, db: sqlite3.Connection, pit: Pit, photo: str
) -> None:
    answer = client.post_form("/runs/1/photographs", {"photo": photo})
    assert (answer.status_code, 'id="file-error"' in answer.text) == (422, True)
    assert store.of_run(db, 1) == []


def test_the_file_of_everything_names_it_and_holds_it_only_if_asked(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    client.post_form("/runs/1/photographs", {"photo": written(PLAIN), "caption": "Left rear"})
    picture = base64.urlsafe_b64encode(PLAIN).decode()
    named = client.get("/exchange/everything.json").get_data()
    whole = client.get("/exchange/everything.json?photographs=yes").get_data()
    assert b"Left rear" in named
    assert picture.encode() not in named
    assert picture.encode() in whole
    assert b"jpeg" not in sheets.archive(db, zone("UTC"), comma=False)
    for text, there in ((named, False), (whole, True)):
        with closing(document.read(text)) as contents, transaction(db):
            document.take(db, contents)
        assert [each.caption for each in store.of_run(db, 1)] == ["Left rear"]
        assert (client.get("/runs/photographs/1.jpg").status_code == 200) is there
        assert ("is not held here" in client.get("/runs/1/photographs").text) is not there


def test_a_copy_holds_the_picture(
    app: Flask, db: sqlite3.Connection, pit: Pit, tmp_path: Path
) -> None:
    store.add(db, bare_jpeg(PLAIN), RACE_MORNING, run_id=1)
    copies.write_copy(db, tmp_path / "copy.sqlite3")
    with closing(sqlite3.connect(tmp_path / "copy.sqlite3")) as copy:
        (text,) = copy.execute("SELECT jpeg FROM photograph_data").fetchone()
    assert picture_in(text).data == PLAIN


def test_as_many_as_fit_are_held_and_removed_ones_make_room(
    db: sqlite3.Connection, pit: Pit, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "MOST_PHOTOGRAPHS", 3)
    taken = bare_jpeg(PLAIN)
    ids = [store.add(db, taken, RACE_MORNING, run_id=1)[0] for _ in range(3)]
    with pytest.raises(Refused, match="3 photographs"):
        store.add(db, taken, RACE_MORNING, run_id=1)
    store.remove(db, ids[0], RACE_MORNING)
    store.add(db, taken, RACE_MORNING, run_id=1)
    assert len(store.of_run(db, 1)) == 3
    with pytest.raises(NotThere):
        store.picture(db, ids[0])

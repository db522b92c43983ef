"""Handing out and taking: what is looked at first, what is written then, and what never is."""

from __future__ import annotations

import html
import io
import re
import sqlite3
from datetime import timedelta
from urllib.parse import urlsplit

import pytest
from flask import Flask

from pitapp.devices.sharing import Sharing
from pitapp.handout import link
from pitapp.handout.models import HandOut
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import ClassLimit, Meeting, RaceClass
from pitapp.runs.formulas import SetupLine
from pitapp.runs.setup import store as setup
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track
from pitapp.web.clock import WAITED_HEADER
from tests.handed import (
    CLASS,
    CLUB,
    NINE,
    SETUP,
    TIMETABLE,
    TRACK,
    damaged,
    hostile,
)
from tests.support import Clock, PageClient

CAR = Car(name="My TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)


def take(client: PageClient, handed: HandOut, **choices: str) -> str:
    """Take a link as the page that shows it does; returns the page that follows."""
    answer = client.post_form("/handout/taken", {"link": link.packed(handed), **choices})
    assert answer.status_code == 303, answer.text
    return client.get(answer.headers["Location"]).text


def link_of(page: str) -> str:
    """The link on a page that hands something out."""
    found = re.search(r'<textarea id="link"[^>]*>([^<]*)</textarea>', page)
    assert found
    return html.unescape(found[1])


def everything(db: sqlite3.Connection) -> list[str]:
    return list(db.iterdump())


def given(client: PageClient, address: str) -> HandOut:
    """What the link on a page holds that hands something out."""
    page = client.get(address)
    assert page.status_code == 200, page.text
    return link.read(link_of(page.text))


def test_a_club_hands_out_and_a_racer_takes_it_with_two_taps(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    class_id, _ = meetings.save_class(db, CLASS.model_copy(update={"remarks": "ours"}), clock())
    track_id, _ = tracks.save_track(db, TRACK.model_copy(update={"remarks": "ours"}), clock())
    day = Meeting(
        day=NINE.date(),
        name="Round 3",
        time_zone="Europe/Lisbon",
        race_class_id=class_id,
        track_id=track_id,
        remarks="ours",
    )
    entries = [Entry("heat", NINE + timedelta(minutes=40 * each)) for each in range(1, 5)]
    meeting_id, _ = meetings.save_meeting(db, day, clock(), entries)
    assert given(client, f"/handout/meetings/{meeting_id}") == CLUB
    assert given(client, f"/handout/classes/{class_id}") == HandOut(race_class=CLASS)
    assert given(client, f"/handout/tracks/{track_id}") == HandOut(track=TRACK)


def test_all_of_a_clubs_link_is_taken_and_undone_at_once(
    client: PageClient, db: sqlite3.Connection
) -> None:
    before = everything(db)
    looked = client.post_form(
        "/handout/take", {"link": f"https://club.example/#{link.packed(CLUB)}"}
    )
    assert looked.status_code == 200
    assert "Invented Stock" in looked.text
    assert "14\u202f600 rpm" in looked.text
    assert "10:40" in looked.text  # nine and forty minutes UTC, on the clock in Lisbon in May
    assert everything(db) == before
    page = take(client, CLUB)
    (race_class,), (track,) = meetings.race_classes(db), tracks.tracks(db)
    (meeting,) = meetings.meetings(db)
    assert (race_class.rev_limit_rpm, race_class.limits[0].name) == (14600, "Wing chord")
    assert track.straights == TRACK.straights
    assert (meeting.race_class_id, meeting.track_id) == (race_class.id, track.id)
    assert [each.starts_at for each in meetings.heats(db, meeting.id)] == [
        each.starts_at for each in TIMETABLE.entries
    ]
    undo = re.search(r'action="(/undo/[^"]+)"', page)
    assert undo
    client.post_form(undo[1])
    assert not meetings.race_classes(db)
    assert not tracks.tracks(db)
    assert not meetings.meetings(db)


def test_what_is_here_already_is_not_taken_again(
    client: PageClient, db: sqlite3.Connection
) -> None:
    take(client, CLUB)
    looked = client.post_form("/handout/take", {"link": link.packed(CLUB)}).text
    assert looked.count("Here already") == 3
    assert "Take it" not in looked
    take(client, CLUB)
    assert (
        len(meetings.race_classes(db)) == len(tracks.tracks(db)) == len(meetings.meetings(db)) == 1
    )


def test_of_what_differs_the_racer_says_what_becomes_of_it(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    own = RaceClass(name="invented stock", rev_limit_rpm=15000, remarks="mine")
    class_id, _ = meetings.save_class(db, own, clock())
    handed = HandOut(race_class=CLASS)
    looked = client.post_form("/handout/take", {"link": link.packed(handed)}).text
    assert "15\u202f000 rpm" in looked
    assert "14\u202f600 rpm" in looked
    before = everything(db)
    refused = client.post_form("/handout/taken", {"link": link.packed(handed)})
    assert refused.status_code == 422
    assert 'id="race_class-error"' in refused.text
    refused = client.post_form("/handout/taken", {"link": link.packed(handed), "race_class": "add"})
    assert refused.status_code == 422
    assert everything(db) == before
    take(client, handed, race_class="leave")
    assert meetings.race_class(db, class_id).rev_limit_rpm == 15000
    take(client, handed, race_class="beside")
    assert [each.name for each in meetings.race_classes(db)] == [
        "invented stock",
        "Invented Stock 2",
    ]
    take(client, handed, race_class="change")
    mine = meetings.race_class(db, class_id)
    assert (mine.name, mine.rev_limit_rpm, mine.remarks) == ("Invented Stock", 14600, "mine")
    assert [limit.name for limit in mine.limits] == ["Wing chord"]


def test_a_timetable_that_moved_is_taken_anew_and_what_is_done_stays(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    take(client, CLUB)
    (meeting,) = meetings.meetings(db)
    first, second, third, _ = meetings.heats(db, meeting.id)
    meetings.finish_heat(db, first.id, clock())
    later = timedelta(minutes=15)
    moved = TIMETABLE.model_copy(
        update={
            "entries": tuple(
                each.model_copy(update={"starts_at": each.starts_at + later})
                for each in TIMETABLE.entries[:3]
            )
        }
    )
    take(client, HandOut(timetable=moved), timetable="change")
    heats = {each.number: each for each in meetings.heats(db, meeting.id)}
    assert heats[1].starts_at == first.starts_at
    assert (heats[2].id, heats[2].starts_at) == (second.id, second.starts_at + later)
    assert heats[2].sequence > second.sequence  # calendars know that it is newer
    assert heats[3].starts_at == third.starts_at + later
    assert set(heats) == {1, 2, 3}
    assert meetings.meeting(db, meeting.id).race_class_id == meeting.race_class_id


def test_a_set_up_goes_into_the_car_that_the_page_was_about(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    handed = HandOut(setup=SETUP)
    looked = client.post_form("/handout/take", {"link": link.packed(handed)}).text
    assert "A set-up belongs to a car" in looked
    assert "Take it" not in looked
    car_id, _ = kit.save_car(db, CAR, clock())
    setup.add(db, car_id, [SetupLine("Front", "ride height", "4.8", "mm")], clock())
    assert given(client, "/handout/setup").setup is not None
    take(client, handed, setup="add", car_id=str(car_id))
    entries = {each.name: each for each in setup.entries(db, car_id)}
    assert entries["ride height"].value == "5.2"
    assert entries["ride height"].used == ("4.8",)
    assert set(entries) == {"ride height", "Springs", "Camber"}
    handed_on = given(client, "/handout/setup").setup
    assert handed_on
    assert {each.name: each.value for each in handed_on.entries} == {
        "ride height": "5.2", "Springs": "soft", "Camber": "-1.5",
    }  # fmt: skip


def test_a_gear_slip_leads_to_gearing_and_writes_nothing(
    client: PageClient, db: sqlite3.Connection
) -> None:
    handed = given(client, "/handout/gear?pinion=45&spur=69&internal=1.9&tyre=63&pitch_dp=64")
    assert handed.gear
    assert (handed.gear.gear.pinion, handed.gear.gear.spur) == (45, 69)
    before = everything(db)
    looked = client.post_form("/handout/take", {"link": link.packed(handed)}).text
    there = re.search(r'href="(/gearing\?[^"]+)"', looked)
    assert there
    gearing = client.get(html.unescape(there[1])).text
    ratio = re.search(r'<data id="final-drive" value="([^"]+)"', gearing)
    assert ratio
    assert float(ratio[1]) == pytest.approx(69 / 45 * 1.9)
    take(client, handed)
    assert everything(db) == before
    assert client.get("/handout/gear?pinion=none").status_code == 400


def test_damaged_and_hostile_links_change_nothing(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    take(client, CLUB)
    kit.save_car(db, CAR, clock())
    before, refused = everything(db), 0
    for text in [*damaged(150), *hostile()]:
        for address in ("/handout/take", "/handout/taken"):
            answer = client.post_form(
                address, {"link": text, "race_class": "change", "track": "change", "setup": "add"}
            )
            assert answer.status_code == 422, text[:80]
            assert 'id="link-error"' in answer.text
            refused += 1
    assert refused >= 400
    assert everything(db) == before


def test_names_in_a_link_are_text_and_nothing_else(
    client: PageClient, db: sqlite3.Connection
) -> None:
    name = "<script>alert(1)</script>' OR 1=1 --"
    handed = HandOut(race_class=RaceClass(name=name), track=Track(name=name))
    looked = client.post_form("/handout/take", {"link": link.packed(handed)}).text
    assert "<script>alert" not in looked
    take(client, handed)
    assert [each.name for each in meetings.race_classes(db)] == [name]
    assert "<script>alert" not in client.get("/meetings/classes").text


def test_a_file_holds_the_link(client: PageClient, db: sqlite3.Connection, clock: Clock) -> None:
    class_id, _ = meetings.save_class(db, CLASS, clock())
    file = client.get(f"/handout/classes/{class_id}?file=yes")
    assert file.headers["Content-Disposition"] == 'attachment; filename="pitapp-Invented-Stock.txt"'
    looked = client.post_form(
        "/handout/take",
        {"file": (io.BytesIO(file.data), "class.txt")},
        content_type="multipart/form-data",
    )
    assert looked.status_code == 200
    refused = client.post_form(
        "/handout/take",
        {"file": (io.BytesIO(b"\xff\x00" * 90_000), "class.txt")},
        content_type="multipart/form-data",
    )
    assert refused.status_code == 422
    assert 'id="file-error"' in refused.text


def test_a_link_leads_to_where_the_app_is(
    app: Flask, client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    class_id, _ = meetings.save_class(db, CLASS, clock())

    def address() -> str:
        page = client.get(f"/handout/classes/{class_id}").text
        found = re.search(r'<textarea id="link"[^>]*>([^<]*)<', page)
        assert found
        return html.unescape(found[1])

    served = urlsplit(address())
    assert (served.netloc, served.path) == ("localhost", "/handout/take")
    app.config.update(PITAPP_IN_BROWSER=True, PITAPP_FOLDER_ADDRESS="https://club.example/pit/")
    assert address().startswith("https://club.example/pit/#/handout/take#1.")


def test_what_is_too_much_for_a_square_is_said(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    car_id, _ = kit.save_car(db, CAR, clock())
    lines = [
        SetupLine("Front", f"Entry {n} {n * 7919 % 9973}", str(n * 104729), "mm")
        for n in range(150)
    ]
    setup.add(db, car_id, lines, clock())
    page = client.get("/handout/setup").text
    assert "too much for a square" in page
    assert 'id="square"' not in page


def test_a_timetable_with_an_entry_twice_is_mended_first(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    day = Meeting(day=NINE.date(), name="Round 3", time_zone="Europe/Lisbon")
    meeting_id, _ = meetings.save_meeting(db, day, clock(), [Entry("heat", NINE)] * 2)
    second = meetings.heats(db, meeting_id)[1]
    meetings.change_heat(db, second.model_copy(update={"number": 1}), clock())
    refused = client.get(f"/handout/meetings/{meeting_id}")
    assert 400 <= refused.status_code < 500
    assert "entry twice" in refused.text
    looked = client.post_form("/handout/take", {"link": link.packed(HandOut(timetable=TIMETABLE))})
    assert looked.status_code == 200
    assert "Yours is not the same" in looked.text


def test_a_class_with_more_limits_than_a_form_has_is_shown_and_saved(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    """A copy made elsewhere may bring one; none of its limits is lost by saving its page."""
    limits = tuple(ClassLimit(name=f"Wing {number}", most=number) for number in range(1, 46))
    class_id, _ = meetings.save_class(db, RaceClass(name="Many", limits=limits), clock())
    page = client.get(f"/meetings/classes/{class_id}")
    assert page.status_code == 200
    assert 'value="Wing 45"' in page.text
    fields = {"name": "Many", "version": "1", "tyre": "soft"}
    for at, each in enumerate(meetings.race_class(db, class_id).limits):
        fields |= {f"limits-{at}-id": str(each.id), f"limits-{at}-name": each.name}
        fields |= {f"limits-{at}-most": str(each.most)}
    answer = client.post_form(f"/meetings/classes/{class_id}", fields)
    assert answer.status_code == 303, answer.text
    saved = meetings.race_class(db, class_id)
    assert (saved.tyre, len(saved.limits)) == ("soft", 45)
    refused = client.get(f"/handout/classes/{class_id}")
    assert 400 <= refused.status_code < 500
    assert "at most 40" in refused.text


def test_what_nobody_could_take_is_not_handed_out(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    class_id, _ = meetings.save_class(db, RaceClass(name="Invented\tStock"), clock())
    track_id, _ = tracks.save_track(db, Track(name="Hall\nof two lines"), clock())
    car_id, _ = kit.save_car(db, CAR, clock())
    setup.add(db, car_id, [SetupLine("Front", "Springs", "soft\x00er", "")], clock())
    day = Meeting(day=NINE.date(), name="Round 3", time_zone="Europe/Lisbon")
    meeting_id, _ = meetings.save_meeting(db, day, clock(), [Entry("heat", NINE)] * 201)
    for address, sentence in {
        f"/handout/classes/{class_id}": "InventedStock",
        f"/handout/tracks/{track_id}": "Hallof two lines",
        "/handout/setup": "softer",
        f"/handout/meetings/{meeting_id}": "at most 200",
    }.items():
        refused = client.get(address)
        assert 400 <= refused.status_code < 500, address
        assert sentence in refused.text


def test_a_gear_that_no_car_has_is_answered_with_a_sentence(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    refused = client.get("/handout/gear?internal=20&pinion=6&spur=200&tyre=10")
    assert refused.status_code == 400
    assert "Go back and mend them" in refused.text
    kit.save_car(db, CAR.model_copy(update={"internal_ratio": 20, "tyre_diameter_mm": 10}), clock())
    assert client.get("/handout/gear?pinion=6&spur=200").status_code == 400


@pytest.mark.parametrize(
    "query",
    [
        "endpoint=x",
        "_method=DELETE",
        "_anchor=x",
        "_external=1",
        "_scheme=ftp",
        "class_id=9",
        "values=1",
        "self=1",
    ],
)
def test_the_file_is_of_the_page_whatever_else_its_address_says(
    client: PageClient, db: sqlite3.Connection, clock: Clock, query: str
) -> None:
    class_id, _ = meetings.save_class(db, CLASS, clock())
    for address, wanted in {
        f"/handout/classes/{class_id}": HandOut(race_class=CLASS),
        "/handout/gear?pinion=45": given(client, "/handout/gear?pinion=45"),
    }.items():
        page = client.get(f"{address}{'&' if '?' in address else '?'}{query}")
        assert page.status_code == 200, page.text
        file = re.search(r'href="([^"]+)" download', page.text)
        assert file
        there = html.unescape(file[1])
        assert there.startswith(f"{address.split('?')[0]}?")
        assert "#" not in there
        assert link.read(client.get(there).text) == wanted


def rows(page: str) -> list[tuple[str, str, str]]:
    """The lines of the comparisons on a page: what each is about, here, and in the link."""
    found = re.findall(
        r'<tr><th scope="row">([^<]*)</th>\s*<td>([^<]*)</td><td>([^<]*)</td></tr>', page
    )
    return [(html.unescape(label), here, there) for label, here, there in found]


def seen(page: str) -> dict[str, str]:
    """What a page says that it saw."""
    return dict(re.findall(r'name="(seen_[a-z_]+)" type="hidden" value="([^"]*)"', page))


def test_a_timetable_taken_again_leaves_the_class_and_the_track_that_were_entered(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    take(client, CLUB)
    (meeting,) = meetings.meetings(db)
    class_id, _ = meetings.save_class(db, RaceClass(name="Another class"), clock())
    track_id, _ = tracks.save_track(db, Track(name="Another hall"), clock())
    own = {"race_class_id": class_id, "track_id": track_id}
    meetings.save_meeting(db, meeting.model_copy(update=own), clock())
    shorter = TIMETABLE.model_copy(update={"entries": TIMETABLE.entries[:2]})
    take(client, CLUB.model_copy(update={"timetable": shorter}), timetable="change")
    assert len(meetings.heats(db, meeting.id)) == 2
    now = meetings.meeting(db, meeting.id)
    assert (now.race_class_id, now.track_id) == (class_id, track_id)
    bare = now.model_copy(update={"race_class_id": None, "track_id": None})
    meetings.save_meeting(db, bare, clock())
    take(client, CLUB, timetable="change")
    filled = meetings.meeting(db, meeting.id)
    assert (filled.race_class_id, filled.track_id) == (meeting.race_class_id, meeting.track_id)


def test_what_another_screen_changed_meanwhile_is_not_overwritten(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    class_id, _ = meetings.save_class(db, RaceClass(name=CLASS.name, rev_limit_rpm=15000), clock())
    track_id, _ = tracks.save_track(db, Track(name=TRACK.name, lap_length_m=180), clock())
    day = Meeting(day=TIMETABLE.day, name=TIMETABLE.name, time_zone="Europe/Lisbon")
    meeting_id, _ = meetings.save_meeting(db, day, clock(), [Entry("heat", NINE)])
    mine = {"race_class": "change", "track": "change", "timetable": "change"}

    def change_class() -> None:
        item = meetings.race_class(db, class_id)
        meetings.save_class(db, item.model_copy(update={"rev_limit_rpm": 16000}), clock())

    def change_track() -> None:
        item = tracks.track(db, track_id)
        tracks.save_track(db, item.model_copy(update={"lap_length_m": 190}), clock())

    def change_heat() -> None:
        (item,) = meetings.heats(db, meeting_id)
        later = item.model_copy(update={"starts_at": NINE + timedelta(minutes=7)})
        meetings.change_heat(db, later, clock())

    page = client.post_form("/handout/take", {"link": link.packed(CLUB)}).text
    for field, change, text in (
        ("race_class", change_class, "16\u202f000 rpm"),
        ("track", change_track, "190"),
        ("timetable", change_heat, "10:07"),
    ):
        sent = {"link": link.packed(CLUB), **mine, **seen(page)}
        assert set(seen(page)) == {"seen_race_class", "seen_track", "seen_timetable"}
        change()
        before = everything(db)
        late = client.post_form("/handout/taken", sent)
        assert late.status_code == 409, field
        assert "changed on another screen" in late.text
        assert any(text in here for _, here, _ in rows(late.text)), rows(late.text)
        assert everything(db) == before
        page = late.text
    take(client, CLUB, **mine, **seen(page))
    assert meetings.race_class(db, class_id).rev_limit_rpm == CLASS.rev_limit_rpm
    assert tracks.track(db, track_id).lap_length_m == TRACK.lap_length_m
    assert len(meetings.heats(db, meeting_id)) == len(TIMETABLE.entries)


def test_what_was_added_or_removed_meanwhile_is_asked_about_anew(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    handed = HandOut(race_class=CLASS, track=TRACK)
    page = client.post_form("/handout/take", {"link": link.packed(handed)}).text
    class_id, _ = meetings.save_class(db, RaceClass(name=CLASS.name), clock())
    sent = {"link": link.packed(handed), "race_class": "add", "track": "leave"}
    late = client.post_form("/handout/taken", {**sent, **seen(page)})
    assert late.status_code == 409
    assert "Change mine to this" in late.text
    meetings.remove_class(db, class_id, clock())
    again = {**sent, "race_class": "change", **seen(late.text)}
    assert client.post_form("/handout/taken", again).status_code == 409
    tracks.save_track(db, Track(name=TRACK.name), clock())  # left as it is: no matter
    take(client, handed, race_class="add", track="leave", **seen(page))
    assert [each.name for each in meetings.race_classes(db)] == [CLASS.name]


def test_a_page_that_waited_on_a_phone_says_what_it_saw(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    meetings.save_class(db, RaceClass(name=CLASS.name), clock())
    sent = {"link": link.packed(HandOut(race_class=CLASS)), "race_class": "change"}
    waited = client.post_form("/handout/taken", sent, headers={WAITED_HEADER: "60"})
    assert waited.status_code == 422
    assert seen(waited.text)["seen_race_class"]
    assert client.post_form("/handout/taken", sent).status_code == 303


def test_lines_of_one_name_are_compared_one_by_one(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    limits = (
        ClassLimit(name="Rev limit", unit="rpm", most=1),
        ClassLimit(name="Wing", unit="mm", most=40),
        ClassLimit(name="Wing", unit="mm", least=10),
    )
    own = RaceClass(name="Invented stock", rev_limit_rpm=15000, limits=limits)
    meetings.save_class(db, own, clock())
    others = (limits[0], limits[1].model_copy(update={"most": 41}), limits[2])
    there = RaceClass(name="Invented Stock", rev_limit_rpm=14600, limits=others)
    handed = HandOut(race_class=there)
    page = client.post_form("/handout/take", {"link": link.packed(handed)}).text
    assert rows(page) == [
        ("Name", "Invented stock", "Invented Stock"),
        ("Rev limit", "15\u202f000 rpm", "14\u202f600 rpm"),
        ("Wing", "at most 40 mm", "at most 41 mm"),
    ]
    turned = HandOut(race_class=own.model_copy(update={"limits": limits[1:] + limits[:1]}))
    page = client.post_form("/handout/take", {"link": link.packed(turned)}).text
    assert "the order differs" in page


def test_an_entry_of_the_next_day_says_so(client: PageClient, db: sqlite3.Connection) -> None:
    take(client, HandOut(timetable=TIMETABLE))
    first, *others = TIMETABLE.entries
    moved = first.model_copy(update={"starts_at": first.starts_at + timedelta(days=1)})
    handed = HandOut(timetable=TIMETABLE.model_copy(update={"entries": (moved, *others)}))
    page = client.post_form("/handout/take", {"link": link.packed(handed)}).text
    # 16 May 2026 is a Saturday (ISO 8601 week 20); nine and forty minutes UTC is 10:40 in Lisbon.
    assert rows(page) == [("Heat 1", "10:40", "Sun 10:40")]


@pytest.mark.parametrize("host", ["127.0.0.1:8510", "localhost:8510", "[::1]:8510"])
def test_an_address_of_this_machine_alone_is_said_at_the_square(
    app: Flask, client: PageClient, db: sqlite3.Connection, clock: Clock, host: str
) -> None:
    class_id, _ = meetings.save_class(db, CLASS, clock())
    page = client.get(f"/handout/classes/{class_id}", headers={"Host": host}).text
    assert f"Another phone does not reach {host}." in page
    assert page.index("Save as a file") < page.index('id="link"')
    # Shared, it is made with the address by which other phones come.
    app.extensions["pitapp.sharing"] = Sharing("https", ("192.0.2.7", "pit.local"), 8510)
    page = client.get(f"/handout/classes/{class_id}", headers={"Host": host}).text
    assert "does not reach" not in page
    assert link_of(page).startswith("https://192.0.2.7:8510/handout/take#")
    file = client.get(f"/handout/classes/{class_id}?file=yes", headers={"Host": host}).text
    assert file.startswith("https://192.0.2.7:8510/handout/take#")
    # Shared while on no network, there is none.
    app.extensions["pitapp.sharing"] = Sharing("https", ("localhost",), 8510)
    assert "does not reach" in client.get(f"/handout/classes/{class_id}").text


def test_one_thing_alone_is_asked_about_once(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    def look(handed: HandOut) -> list[tuple[str, str]]:
        page = client.post_form("/handout/take", {"link": link.packed(handed)}).text
        assert "<select" not in page
        return re.findall(r'<button[^>]* name="(\w+)" value="(\w+)"', page)

    alone = HandOut(race_class=CLASS)
    assert look(alone) == [("race_class", "add")]
    assert "Took Invented Stock" in take(client, alone, race_class="add")
    other = CLASS.model_copy(update={"rev_limit_rpm": 15_500})
    assert look(HandOut(race_class=other)) == [("race_class", "change"), ("race_class", "beside")]
    page = client.post_form("/handout/take", {"link": link.packed(CLUB)}).text
    assert page.count("<select") == 2

"""Meetings, heats and classes in the database, with undo."""

from __future__ import annotations

import sqlite3
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest

from pitapp.db import undo
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import ClassLimit, Heat, Meeting, RaceClass
from pitapp.runs.models import FittedCar, Run, Snapshot
from pitapp.runs.store import save_run

NOW = datetime(2026, 5, 16, 8, 0, tzinfo=UTC)
DAY = date(2026, 5, 16)


def at(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 5, 16, hour, minute, tzinfo=UTC)


def entries(*hours: int) -> list[Entry]:
    return [Entry("heat", at(hour)) for hour in hours]


@pytest.fixture
def meeting_id(db: sqlite3.Connection) -> int:
    item = Meeting(day=DAY, time_zone="Europe/Lisbon")
    return store.save_meeting(db, item, NOW, entries(9, 10, 11))[0]


def walls(heats: list[Heat]) -> list[str]:
    return [f"{heat.title} {heat.starts_at:%H:%M}" for heat in heats]


def test_a_meeting_and_its_timetable_are_one_step(db: sqlite3.Connection) -> None:
    item = Meeting(day=DAY, time_zone="Europe/Lisbon", name="Invented cup")
    meeting_id, token = store.save_meeting(db, item, NOW, entries(9, 10))
    assert store.meeting(db, meeting_id) == item.model_copy(update={"id": meeting_id})
    assert walls(store.heats(db, meeting_id)) == ["Heat 1 09:00", "Heat 2 10:00"]
    undo.undo(db, token, NOW)
    assert store.meetings(db) == []
    assert store.heats(db, meeting_id) == []


def test_more_entries_are_numbered_after_those_of_their_kind(
    db: sqlite3.Connection, meeting_id: int
) -> None:
    more = [Entry("final", at(14)), Entry("heat", at(12)), Entry("marshal", at(12, 8))]
    many, _ = store.add_heats(db, meeting_id, more, NOW)
    assert many == 3
    assert walls(store.heats(db, meeting_id))[3:] == [
        "Heat 4 12:00",
        "Marshal 1 12:08",
        "Final 1 14:00",
    ]


def test_five_minutes_for_one_or_for_all_that_follow(
    db: sqlite3.Connection, meeting_id: int
) -> None:
    first, second, _ = store.heats(db, meeting_id)
    five = timedelta(minutes=5)
    store.finish_heat(db, first.id, NOW)
    store.shift_heats(db, second, five, following=False, now=NOW)
    assert walls(store.heats(db, meeting_id)) == ["Heat 1 09:00", "Heat 2 10:05", "Heat 3 11:00"]
    second = store.heat(db, second.id)
    token = store.shift_heats(db, second, -five, following=True, now=NOW)
    assert walls(store.heats(db, meeting_id)) == ["Heat 1 09:00", "Heat 2 10:00", "Heat 3 10:55"]
    assert undo.undo(db, token, NOW) == "Moved Heat 2 and all after it by −5 min"
    assert walls(store.heats(db, meeting_id)) == ["Heat 1 09:00", "Heat 2 10:05", "Heat 3 11:00"]


def test_a_heat_that_is_done_stays_where_it_was(db: sqlite3.Connection, meeting_id: int) -> None:
    first, _, third = store.heats(db, meeting_id)
    store.finish_heat(db, third.id, NOW)
    store.shift_heats(db, first, timedelta(minutes=5), following=True, now=NOW)
    assert walls(store.heats(db, meeting_id)) == ["Heat 1 09:05", "Heat 2 10:05", "Heat 3 11:00"]


def test_the_next_heat_is_the_first_not_done_and_not_long_past(
    db: sqlite3.Connection, meeting_id: int
) -> None:
    def next_at(now: datetime) -> str | None:
        found = store.next_heat(db, meeting_id, now)
        return found.title if found else None

    store.add_heats(db, meeting_id, [Entry("marshal", at(9, 8))], NOW)
    assert next_at(at(8)) == "Heat 1"
    assert next_at(at(9, 14)) == "Heat 1"
    assert next_at(at(9, 15)) == "Heat 2"
    store.finish_heat(db, store.heats(db, meeting_id)[0].id, at(9, 6))
    assert next_at(at(9, 7)) == "Heat 2"
    store.remove(db, "heats", store.heats(db, meeting_id)[2].id, NOW)
    assert next_at(at(9, 7)) == "Heat 3"
    assert next_at(at(12)) is None


def test_done_once_and_reopened(db: sqlite3.Connection, meeting_id: int) -> None:
    first = store.heats(db, meeting_id)[0]
    store.finish_heat(db, first.id, at(9, 6))
    store.finish_heat(db, first.id, at(9, 30))
    assert store.heat(db, first.id).done_at == at(9, 6)
    token = store.reopen_heat(db, first.id, NOW)
    assert store.heat(db, first.id).done_at is None
    undo.undo(db, token, NOW)
    assert store.heat(db, first.id).done_at == at(9, 6)


def test_done_within_another_step_is_undone_with_it(
    db: sqlite3.Connection, meeting_id: int
) -> None:
    first = store.heats(db, meeting_id)[0]
    with undo.step(db, "Logged the run", NOW) as step:
        assert store.finish_heat(db, first.id, NOW, step) == step.token
    assert store.heat(db, first.id).done_at == NOW
    undo.undo(db, step.token, NOW)
    assert store.heat(db, first.id).done_at is None


def test_the_current_meeting_reaches_past_midnight_with_its_heats(
    db: sqlite3.Connection, meeting_id: int
) -> None:
    night = datetime(2026, 5, 16, 23, 50, tzinfo=UTC)  # 00:50 on Sunday in Lisbon
    later = Meeting(day=date(2026, 5, 17), time_zone="Europe/Lisbon")
    sunday_id, _ = store.save_meeting(db, later, NOW)

    def current(now: datetime) -> int:
        found = store.current_meeting(db, now)
        assert found is not None
        return found.id

    assert current(night - timedelta(minutes=20)) == sunday_id
    _, token = store.add_heats(db, meeting_id, [Entry("heat", night)], NOW)
    assert current(night - timedelta(minutes=20)) == meeting_id
    assert current(night + timedelta(minutes=61)) == sunday_id
    undo.undo(db, token, NOW)
    assert current(night) == sunday_id


def test_of_two_classes_on_one_day_the_one_due_next_is_current(
    db: sqlite3.Connection, meeting_id: int
) -> None:
    other = Meeting(day=DAY, time_zone="Europe/Lisbon")
    other_id, _ = store.save_meeting(db, other, NOW, [Entry("heat", at(9, 20))])

    def current(now: datetime) -> int:
        found = store.current_meeting(db, now)
        assert found is not None
        return found.id

    assert current(at(8)) == meeting_id
    assert current(at(9, 14)) == meeting_id
    store.finish_heat(db, store.heats(db, meeting_id)[0].id, at(9, 7))
    assert current(at(9, 14)) == other_id
    assert current(at(9, 35)) == meeting_id


def test_a_removed_meeting_is_not_current_and_comes_back(
    db: sqlite3.Connection, meeting_id: int
) -> None:
    token = store.remove(db, "meetings", meeting_id, NOW)
    assert store.current_meeting(db, NOW) is None
    undo.undo(db, token, NOW)
    found = store.current_meeting(db, NOW)
    assert found is not None
    assert found.id == meeting_id


def test_meetings_are_paged_newest_first(db: sqlite3.Connection) -> None:
    for day in (14, 16, 15, 16):
        store.save_meeting(db, Meeting(day=date(2026, 5, day), time_zone="UTC"), NOW)
    listed = store.meetings(db, limit=2)
    assert [(one.day.day, one.id) for one in listed] == [(16, 4), (16, 2)]
    older = store.meetings(db, limit=2, before=listed[-1].id)
    assert [(one.day.day, one.id) for one in older] == [(15, 3), (14, 1)]


def test_the_second_of_two_writers_is_told(db: sqlite3.Connection, meeting_id: int) -> None:
    opened = store.meeting(db, meeting_id)
    store.save_meeting(db, opened.model_copy(update={"name": "Spring"}), NOW)
    with pytest.raises(ChangedMeanwhile):
        store.save_meeting(db, opened.model_copy(update={"name": "Autumn"}), NOW)
    assert store.meeting(db, meeting_id).name == "Spring"


def test_what_is_not_there_is_said(db: sqlite3.Connection) -> None:
    with pytest.raises(NotThere):
        store.meeting(db, 7)
    with pytest.raises(NotThere):
        store.heat(db, 7)
    with pytest.raises(NotThere):
        store.race_class(db, 7)


WING = ClassLimit(name="Wing chord", unit="mm", most=40)
BASE = ClassLimit(name="Wheelbase", unit="mm", exactly=257)


def test_a_class_keeps_its_limits_and_their_order(db: sqlite3.Connection) -> None:
    item = RaceClass(name="Invented spec", rev_limit_rpm=14_600, limits=(WING, BASE))
    class_id, _ = store.save_class(db, item, NOW)
    kept = store.race_class(db, class_id)
    assert [limit.name for limit in kept.limits] == ["Wing chord", "Wheelbase"]
    assert store.race_classes(db) == [kept]

    wing, base = kept.limits
    changed = (base, wing.model_copy(update={"most": 42.0}), ClassLimit(name="Width", most=190))
    _, token = store.save_class(db, kept.model_copy(update={"limits": changed}), NOW)
    now_kept = store.race_class(db, class_id)
    assert [limit.text for limit in now_kept.limits] == [
        "exactly 257 mm",
        "at most 42 mm",
        "at most 190",
    ]
    assert [limit.id for limit in now_kept.limits[:2]] == [base.id, wing.id]
    undo.undo(db, token, NOW)
    assert store.race_class(db, class_id) == kept


def test_limits_that_were_taken_away_come_back_with_undo(db: sqlite3.Connection) -> None:
    class_id, _ = store.save_class(db, RaceClass(name="A", limits=(WING, BASE)), NOW)
    kept = store.race_class(db, class_id)
    _, token = store.save_class(db, kept.model_copy(update={"limits": ()}), NOW)
    assert store.race_class(db, class_id).limits == ()
    undo.undo(db, token, NOW)
    assert store.race_class(db, class_id) == kept


def test_a_limit_of_another_class_is_not_taken_from_it(db: sqlite3.Connection) -> None:
    first, _ = store.save_class(db, RaceClass(name="A", limits=(WING,)), NOW)
    stolen = store.race_class(db, first).limits
    second, _ = store.save_class(db, RaceClass(name="B", limits=stolen), NOW)
    assert len(store.race_class(db, first).limits) == 1
    assert len(store.race_class(db, second).limits) == 1


def test_the_latest_class_is_that_of_the_latest_meeting(db: sqlite3.Connection) -> None:
    assert store.latest_class(db) is None
    first, _ = store.save_class(db, RaceClass(name="First", limits=(WING,)), NOW)
    second, _ = store.save_class(db, RaceClass(name="Second"), NOW)

    def latest() -> str:
        found = store.latest_class(db)
        assert found is not None
        return found.name

    assert latest() == "Second"
    store.save_meeting(db, Meeting(day=DAY, time_zone="UTC", race_class_id=first), NOW)
    later = Meeting(day=date(2026, 6, 1), time_zone="UTC")
    store.save_meeting(db, later, NOW)
    assert latest() == "First"
    store.remove_class(db, first, NOW)
    assert latest() == "Second"
    store.remove_class(db, second, NOW)
    assert store.latest_class(db) is None
    assert store.race_class(db, first).name == "First"


def test_the_class_raced_is_the_meetings_own_else_the_latest(db: sqlite3.Connection) -> None:
    assert store.class_raced(db, None, None) is None
    first, _ = store.save_class(db, RaceClass(name="First"), NOW)
    second, _ = store.save_class(db, RaceClass(name="Second"), NOW)
    meeting = Meeting(day=DAY, time_zone="UTC")
    for at, expected in (
        (None, second),
        (meeting, second),
        (meeting.model_copy(update={"race_class_id": first}), first),
    ):
        found = store.class_raced(db, at, None)
        assert found is not None
        assert found.id == expected


def test_another_car_than_the_meetings_is_judged_by_the_class_that_it_raced_last(
    db: sqlite3.Connection,
) -> None:
    frame = {"internal_ratio": 1.9, "pitch": "dp:64", "tyre_diameter_mm": 63}
    raced, other = (kit.save_car(db, Car(name=n, **frame), NOW)[0] for n in ("Raced", "Other"))
    ids = {n: store.save_class(db, RaceClass(name=n), NOW)[0] for n in ("A", "B", "C")}

    def on(day: date, name: str, car_id: int | None) -> Meeting:
        own = Meeting(day=day, time_zone="UTC", race_class_id=ids[name], car_id=car_id)
        return store.meeting(db, store.save_meeting(db, own, NOW)[0])

    def by(meeting: Meeting | None, car_id: int | None) -> str | None:
        found = store.class_raced(db, meeting, car_id)
        return found.name if found else None

    today = on(DAY, "A", raced)
    assert (by(today, raced), by(today, None)) == ("A", "A")
    store.remove_class(db, ids["C"], NOW)
    assert by(today, other) == "B"
    on(DAY - timedelta(days=7), "B", raced)
    assert by(today, other) is None
    assert by(None, other) is None
    on(DAY - timedelta(days=14), "B", other)
    on(DAY + timedelta(days=30), "A", other)
    assert by(today, other) == "B"
    yesterday = NOW - timedelta(days=1)
    outing = Run(
        uuid=uuid4(),
        car_id=other,
        race_class_id=ids["A"],
        started_at=yesterday,
        snapshot=Snapshot(car=FittedCar(id=other, name="Other")),
    )
    save_run(db, outing, NOW)
    assert by(today, other) == "A"
    second = on(DAY, "B", other)
    assert (by(today, other), by(second, other), by(second, raced)) == ("B", "B", "A")
    assert by(on(DAY, "B", None), raced) == "B"


@pytest.mark.parametrize(
    ("limit", "value", "allowed"),
    [
        (ClassLimit(name="a", least=10, most=20), 10, True),
        (ClassLimit(name="a", least=10, most=20), 20.001, False),
        (ClassLimit(name="a", least=10), 9.999, False),
        (ClassLimit(name="a", exactly=257), 257.0, True),
        (ClassLimit(name="a", exactly=257), 257.01, False),
    ],
)
def test_what_a_limit_allows(limit: ClassLimit, value: float, allowed: bool) -> None:
    assert limit.within_limit(value) is allowed


@pytest.mark.parametrize(
    "figures", [{}, {"least": 5, "most": 4}, {"exactly": 5, "most": 6}, {"least": float("nan")}]
)
def test_an_impossible_limit_is_refused(figures: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"least|exact|finite"):
        ClassLimit(name="a", **figures)

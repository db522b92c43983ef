"""The one large button: what is due at each moment of a day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Literal

import pytest

from pitapp.board.due import Day, day_at, due
from pitapp.board.models import ReadyLine
from pitapp.meetings.models import Heat, HeatKind

START = datetime(2026, 5, 16, 9, 0, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def heat(number: int, minutes: float, *, kind: HeatKind = "heat", done: bool = False) -> Heat:
    starts_at = at(minutes)
    return Heat(
        id=number if kind == "heat" else 100 + number,
        meeting_id=1,
        number=number,
        kind=kind,
        starts_at=starts_at,
        done_at=starts_at if done else None,
    )


def line(name: str, word: Literal["ready", "look", "not yet"]) -> tuple[str, ReadyLine]:
    levels: dict[str, Literal["good", "look", "stop"]] = {
        "ready": "good",
        "look": "look",
        "not yet": "stop",
    }
    said = ReadyLine(name=name, level=levels[word], word=word, reason="", href=f"/{name}")
    return f"Mend {name}", said


def label(heats: list[Heat], minutes: float, *lines: tuple[str, ReadyLine]) -> str:
    return due(day_at(heats, at(minutes)), lines, at(minutes), "/packs").label


ALL_READY = (line("gear", "ready"), line("controller", "ready"))
TIMETABLE = [heat(1, 0), heat(1, 8, kind="marshal"), heat(2, 40)]


def test_ready_before_the_heat_is_go() -> None:
    found = due(day_at(TIMETABLE, at(-20)), ALL_READY, at(-20), "/packs")
    assert (found.label, found.href) == ("Go: Heat 1", "/meetings/heats/1")


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ((line("gear", "not yet"), line("controller", "not yet")), "Mend gear"),
        ((line("gear", "look"), line("controller", "not yet")), "Mend controller"),
        ((line("gear", "ready"), line("controller", "look")), "Mend controller"),
    ],
)
def test_what_is_not_ready_is_mended_in_order(
    lines: tuple[tuple[str, ReadyLine], ...], expected: str
) -> None:
    assert label(TIMETABLE, -20, *lines) == expected


def test_shortly_before_the_start_only_not_yet_holds_back() -> None:
    assert label(TIMETABLE, -5, line("gear", "look")) == "Mend gear"
    assert label(TIMETABLE, -4.9, line("gear", "look")) == "Go: Heat 1"
    assert label(TIMETABLE, -1, line("gear", "not yet")) == "Mend gear"


def test_a_heat_that_has_started_is_logged() -> None:
    found = due(day_at(TIMETABLE, at(0)), ALL_READY, at(0), "/packs")
    assert (found.label, found.href) == ("Log the run of Heat 1", "/runs/new?heat=1")


def test_of_two_heats_not_logged_the_later_comes_first() -> None:
    day = day_at(TIMETABLE, at(45))
    assert [one.number for one in day.unlogged] == [2, 1]
    assert label(TIMETABLE, 45) == "Log the run of Heat 2"


def test_marshalling_is_next_until_ten_minutes_after_its_start() -> None:
    logged = [heat(1, 0, done=True), heat(1, 8, kind="marshal"), heat(2, 40)]

    def coming(minutes: float) -> str:
        return " ".join(one.title for one in day_at(logged, at(minutes)).coming)

    assert coming(6) == "Marshal 1 Heat 2"
    assert coming(17.9) == "Marshal 1 Heat 2"
    assert coming(18) == "Heat 2"
    assert coming(40) == ""
    assert label(logged, 6, *ALL_READY) == "Go: Heat 2"


def test_marshalling_is_never_logged() -> None:
    only = [heat(1, 0, kind="marshal"), heat(1, 20)]
    assert day_at(only, at(12)).unlogged == ()


def test_after_the_last_log_packs_go_to_storage() -> None:
    done = [heat(1, 0, done=True), heat(2, 40, done=True), heat(2, 48, kind="marshal")]
    assert label(done, 46, line("gear", "not yet")) == "Packs to storage"
    assert day_at(done, at(46)).coming != ()
    stored = due(day_at(done, at(46)), (), at(46), None)
    assert (stored.label, stored.href) == ("See the day's runs", "/runs")


def test_a_day_with_no_timetable_logs_practice() -> None:
    assert day_at([], START) == Day((), None, (), False)
    assert label([], 0, *ALL_READY) == "Log a run"
    assert label([], 0, line("gear", "not yet")) == "Mend gear"


def test_marshalling_alone_is_no_day_that_is_over() -> None:
    assert day_at([heat(1, 0, kind="marshal")], at(60)).over is False

"""Results: points and shared places worked by hand, drop scores against every choice, and the screens."""

from __future__ import annotations

import io
import re
import sqlite3
from contextlib import closing
from datetime import date, timedelta
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitapp.db import transaction
from pitapp.exchange import document
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting
from pitapp.meetings.results import store
from pitapp.meetings.results.formulas import best_of, counting, parse_points, points_for
from pitapp.meetings.results.models import MeetingResult, PointTable, Season
from pitapp.runs import store as runs
from tests.runs_support import Pit, a_run, form_values, furnish
from tests.support import RACE_MORNING, PageClient


def table(*points: float, **more: Any) -> PointTable:
    return PointTable(**{"name": "Example", "points": points} | more)


TEN = (10, 8, 6, 5, 4, 3, 2, 1)


@pytest.mark.parametrize(
    ("ties", "place", "shared_with", "points"),
    [
        # Worked by hand: second shared by two fills 2 and 3, worth 8 and 6.
        ("full", 2, 1, 8),
        ("mean", 2, 1, 7),
        ("last", 2, 1, 6),
        # Third shared by three fills 3, 4 and 5: 6, 5 and 4.
        ("mean", 3, 2, 5),
        ("last", 3, 2, 4),
        # The last place of the table shared with one after it: 1 and 0.
        ("mean", 8, 1, 0.5),
        ("full", 9, 0, 0),
        ("full", 1, 0, 10),
    ],
)
def test_points_of_a_place(ties: Any, place: int, shared_with: int, points: float) -> None:
    assert points_for(table(*TEN, ties=ties), place, shared_with) == points


def test_the_low_point_system_of_sailing() -> None:
    """*Racing Rules of Sailing*, A4 (first 1 point, second 2, …), A7 and A2.1, from memory.

    Places 1, 3 shared with one, 2, 7 with the worst excluded: 1 + 3.5 + 2.
    """
    low = table(*range(1, 9), ties="mean", fewest_wins=True)
    scores = [points_for(low, 1), points_for(low, 3, 1), points_for(low, 2), points_for(low, 7)]
    assert scores == [1, 3.5, 2, 7]
    assert counting(scores, 1, fewest_wins=True) == (6.5, (3,))
    # Equal worst scores: the earliest is excluded.
    assert counting([7, 1, 7, 2], 1, fewest_wins=True).dropped == (0,)


def test_a_season_worked_by_hand() -> None:
    """Six rounds by 10 8 6 5 4 3: places 2, 1, 5, 3, missed, 2, two drop scores.

    8 + 10 + 4 + 6 + 0 + 8, less 0 and 4: 32.
    """
    scores = [points_for(table(*TEN[:6]), place) for place in (2, 1, 5, 3)] + [0, 8]
    assert scores == [8, 10, 4, 6, 0, 8]
    assert counting(scores, 2) == (32, (2, 4))


halves = st.integers(-20, 60).map(lambda number: number / 2)


@given(st.lists(halves, max_size=9), st.integers(0, 10), st.booleans())
def test_dropping_is_the_best_of_every_choice(
    scores: list[float], drops: int, fewest_wins: bool
) -> None:
    kept = max(len(scores) - drops, min(len(scores), 1))
    totals = [sum(choice) for choice in combinations(scores, kept)]
    counted = counting(scores, drops, fewest_wins=fewest_wins)
    assert counted.total == (min if fewest_wins else max)(totals)
    assert len(counted.dropped) == len(scores) - kept
    left = [score for index, score in enumerate(scores) if index not in counted.dropped]
    assert sum(left) == counted.total


@given(st.lists(halves, min_size=1, max_size=9), st.integers(1, 12))
def test_the_best_heats_are_the_best_of_every_choice(scores: list[float], best: int) -> None:
    many = min(best, len(scores))
    assert best_of(scores, best).total == max(map(sum, combinations(scores, many)))


@pytest.mark.parametrize(
    ("text", "points"),
    [("10 8 6", (10, 8, 6)), ("25,20;16|13", (25, 20, 16, 13)), ("1\n2\n3.5", (1, 2, 3.5))],
)
def test_points_as_people_type_them(text: str, points: tuple[float, ...]) -> None:
    assert parse_points(text) == points


@pytest.mark.parametrize("text", ["", "10 eight", "1e9", "1 " * 201])
def test_what_is_no_list_of_points_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"number|places"):
        parse_points(text)


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    return furnish(db)


def log(db: sqlite3.Connection, pit: Pit, heat: int, position: int | None) -> None:
    item = a_run(meeting_id=pit.meeting, heat_id=pit.heats[heat], position=position)
    runs.save_run(db, item, RACE_MORNING)


def undo_path(page: str) -> str:
    found: list[str] = re.findall(r'action="(/undo/[^"]+)"', page)
    return found[-1]


def test_a_meetings_result_is_typed_shown_and_undone(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    table_id, _ = store.save_table(db, table(*TEN), RACE_MORNING)
    log(db, pit, 0, 3)
    log(db, pit, 1, 1)
    path = f"/meetings/{pit.meeting}/results"
    values = form_values(client.get(path).text) | {
        "point_table_id": str(table_id),
        "best_heats": "1",
        "qualifying_place": "2",
        "final_name": "A",
        "place": "4",
        "shared_with": "1",
    }
    page = client.post_form(path, values, follow_redirects=True).get_data(as_text=True)
    assert '<data id="final-place" value="4"' in page
    assert '<data id="qualifying-place" value="2"' in page
    assert '<data id="heat-points" value="10' in page
    assert "6 points, dropped" in page
    client.post_form(undo_path(page))
    assert store.result(db, pit.meeting).id == 0
    wrong = client.post_form(path, values | {"place": "0"})
    assert wrong.status_code == 422
    assert 'id="place-error"' in wrong.text


def test_nothing_is_in_the_way_of_who_wants_no_results(client: PageClient, pit: Pit) -> None:
    page = client.get(f"/meetings/{pit.meeting}/results").get_data(as_text=True)
    assert 'name="season_id"' not in page
    assert 'name="point_table_id"' not in page
    assert client.get("/meetings/seasons").status_code == 200


def test_a_season_counts_its_rounds_less_the_drop_scores(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    table_id, _ = store.save_table(db, table(*TEN), RACE_MORNING)
    season = Season(name="Invented season", point_table_id=table_id, drops=1)
    season_id, _ = store.save_season(db, season, RACE_MORNING)
    today = RACE_MORNING.date()
    for days, place in ((-30, 2), (-20, None), (-10, 5), (-5, 1), (+7, None)):
        day = today + timedelta(days=days)
        meeting_id, _ = meetings.save_meeting(
            db, Meeting(day=day, time_zone="UTC", name=f"Round {days}"), RACE_MORNING
        )
        result = MeetingResult(meeting_id=meeting_id, season_id=season_id, place=place)
        store.save_result(db, result, RACE_MORNING)
    standing = store.standing(db, store.season(db, season_id), today)
    # By hand: 8, missed 0, 4, 10, one to come; the missed one is dropped.
    assert [each.points for each in standing.rounds] == [8, 0, 4, 10, None]
    assert [each.dropped for each in standing.rounds] == [False, True, False, False, False]
    assert standing.rounds[-1].to_come
    assert standing.total == 22
    page = client.get(f"/meetings/seasons/{season_id}").get_data(as_text=True)
    assert '<data id="season-total" value="22' in page
    removed = client.post_form(
        f"/meetings/seasons/{season_id}/remove", follow_redirects=True
    ).get_data(as_text=True)
    assert store.seasons(db) == []
    client.post_form(undo_path(removed))
    assert [each.name for each in store.seasons(db)] == ["Invented season"]


def test_a_points_table_is_typed_changed_and_removed(
    client: PageClient, db: sqlite3.Connection
) -> None:
    values = {"name": "Ten", "listed": "10, 8 6", "ties": "mean", "version": "1"}
    assert client.post_form("/meetings/points/new", values).status_code == 303
    (item,) = store.tables(db)
    assert (item.points, item.ties, item.fewest_wins) == ((10, 8, 6), "mean", False)
    wrong = client.post_form("/meetings/points/new", values | {"listed": "ten eight"})
    assert wrong.status_code == 422
    assert 'id="listed-error"' in wrong.text
    path = f"/meetings/points/{item.id}"
    assert form_values(client.get(path).text)["listed"] == "10 8 6"
    client.post_form(path, values | {"listed": "12 9", "fewest_wins": "y"})
    assert client.post_form(path, values).status_code == 409
    assert store.tables(db)[0].points == (12, 9)
    client.post_form(f"{path}/remove")
    assert store.tables(db) == []


def test_they_are_in_the_file_of_everything(db: sqlite3.Connection, pit: Pit) -> None:
    table_id, _ = store.save_table(db, table(*TEN), RACE_MORNING)
    season_id, _ = store.save_season(db, Season(name="Kept", point_table_id=table_id), RACE_MORNING)
    store.save_result(
        db, MeetingResult(meeting_id=pit.meeting, season_id=season_id, place=3), RACE_MORNING
    )
    before = store.standing(db, store.season(db, season_id), date(2027, 1, 1))
    text = "".join(document.write(db, RACE_MORNING))
    for name, item_id in (("seasons", season_id), ("point_tables", table_id)):
        store.remove(db, name, item_id, "it", RACE_MORNING)
    with closing(document.read(io.BytesIO(text.encode()))) as contents, transaction(db):
        document.take(db, contents)
    assert store.standing(db, store.season(db, season_id), date(2027, 1, 1)) == before
    assert [each.points for each in store.tables(db)] == [TEN]


def test_a_meeting_that_is_not_there_has_no_result(client: PageClient) -> None:
    assert client.post_form("/meetings/76/results", {}).status_code == 404

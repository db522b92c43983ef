"""The screens of laps: pasted, looked at, taken, replaced, removed, compared, and carried along."""

from __future__ import annotations

import io
import re
import sqlite3
from datetime import timedelta

import pytest

from pitapp.exchange import document
from pitapp.runs import store
from pitapp.runs.laps import store as laps_store
from pitapp.runs.models import FittedCar, Run, Snapshot
from tests.runs_support import Pit, furnish
from tests.support import RACE_MORNING, PageClient

PASTED = "lap;time\n1;15,200\n2;14,900\n3;15,000\n4;15,100\n5;19,000"
LAPS = (15.2, 14.9, 15.0, 15.1, 19.0)


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    return furnish(db)


def logged(db: sqlite3.Connection, pit: Pit, minutes: float = 0) -> int:
    snapshot = Snapshot(car=FittedCar(id=pit.car, name="Example car"))
    started = RACE_MORNING + timedelta(minutes=minutes)
    return store.save_run(
        db, Run(car_id=pit.car, started_at=started, snapshot=snapshot), RACE_MORNING
    )[0]


@pytest.fixture
def run_id(db: sqlite3.Connection, pit: Pit) -> int:
    return logged(db, pit)


def figure(page: str, name: str) -> float:
    (value,) = re.findall(rf'<data id="{name}" value="([^"]*)"', page)
    return float(value)


def forms(page: str, action: str) -> list[dict[str, str]]:
    """What each button sends that goes to that address, by `action` or `formaction`, with what is hidden."""
    sent = []
    for form in re.findall(r"<form .*?</form>", page, re.DOTALL):
        hidden = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form))
        aimed = re.findall(rf'formaction="{action}" name="([^"]+)" value="([^"]*)"', form)
        sent += [hidden | {name: value} for name, value in aimed]
        if f'action="{action}"' in form.split(">")[0]:
            sent.append(hidden)
    return sent


def take(client: PageClient, run_id: int, text: str) -> None:
    look = client.post_form(f"/runs/{run_id}/laps/look", {"times": text})
    assert look.status_code == 200
    (values,) = forms(look.text, f"/runs/{run_id}/laps")
    assert client.post_form(f"/runs/{run_id}/laps", values).status_code == 303


def undo(client: PageClient, page: str) -> None:
    path = re.findall(r'action="(/undo/[^"]+)"', page)[-1]
    assert client.post_form(path, {}).status_code == 303


def test_pasted_laps_are_looked_at_before_they_are_taken(
    client: PageClient, db: sqlite3.Connection, run_id: int
) -> None:
    assert f"/runs/{run_id}/laps" in client.get(f"/runs/{run_id}").text
    look = client.post_form(f"/runs/{run_id}/laps/look", {"times": PASTED})
    assert laps_store.laps(db, run_id) == ()
    (values,) = forms(look.text, f"/runs/{run_id}/laps")
    client.post_form(f"/runs/{run_id}/laps", values)
    page = client.get(f"/runs/{run_id}").text
    assert laps_store.laps(db, run_id) == LAPS
    assert figure(page, "lap-best-s") == figure(page, "best-lap-s") == 14.9
    assert figure(page, "lap-count") == figure(page, "laps") == 5
    # By hand: median 15.1, deviations 0.1 0.2 0.1 0 3.9, so that 15.1 + 3 × 0.14826 is the limit.
    assert figure(page, "lap-traffic") == 5
    assert figure(page, "lap-traffic-limit-s") == pytest.approx(15.54478)
    assert figure(page, "lap-average-s") == pytest.approx(15.05)
    assert figure(page, "lap-better-half-s") == pytest.approx(14.95)
    assert figure(page, "lap-total-s") == pytest.approx(79.2)
    undo(client, page)
    assert laps_store.laps(db, run_id) == ()
    assert store.run(db, run_id).best_lap_s is None


def test_what_can_be_read_in_two_ways_is_chosen(
    client: PageClient, db: sqlite3.Connection, run_id: int
) -> None:
    look = client.post_form(f"/runs/{run_id}/laps/look", {"times": "15.3\n30.4\n45.9\n61.0"})
    first, second = forms(look.text, f"/runs/{run_id}/laps")
    assert (first["laps"], second["laps"]) == ("15300 15100 15500 15100", "15100 15500 15100")
    client.post_form(f"/runs/{run_id}/laps", second)
    assert laps_store.laps(db, run_id) == (15.1, 15.5, 15.1)


@pytest.mark.parametrize("text", ["", "no laps", "x" * 100_001])
def test_a_text_without_laps_is_kept_with_the_reason(
    client: PageClient, run_id: int, text: str
) -> None:
    answer = client.post_form(f"/runs/{run_id}/laps/look", {"times": text})
    assert answer.status_code == 422
    assert 'id="times-error"' in answer.text
    assert text[:1000] in answer.text


@pytest.mark.parametrize("column", ["", "14.87", "0", "1 " * 5, "fast"])
def test_a_column_that_is_none_is_not_taken(
    client: PageClient, db: sqlite3.Connection, run_id: int, column: str
) -> None:
    answer = client.post_form(f"/runs/{run_id}/laps", {"laps": column})
    assert answer.status_code == 422
    assert laps_store.laps(db, run_id) == ()


def test_laps_of_another_screen_are_asked_about(
    client: PageClient, db: sqlite3.Connection, run_id: int
) -> None:
    take(client, run_id, PASTED)
    answer = client.post_form(f"/runs/{run_id}/laps", {"laps": "15000 16000"})
    assert answer.status_code == 409
    assert "15.000\n16.000" in answer.text
    assert laps_store.laps(db, run_id) == LAPS
    take(client, run_id, "15.0\n16.0")
    assert laps_store.laps(db, run_id) == (15.0, 16.0)


def test_laps_are_removed_and_brought_back(
    client: PageClient, db: sqlite3.Connection, run_id: int
) -> None:
    take(client, run_id, PASTED)
    client.get(f"/runs/{run_id}")
    assert client.post_form(f"/runs/{run_id}/laps/remove", {}).status_code == 303
    page = client.get(f"/runs/{run_id}/laps").text
    assert laps_store.laps(db, run_id) == ()
    undo(client, page)
    assert laps_store.laps(db, run_id) == LAPS


def test_changing_the_run_leaves_its_laps(
    client: PageClient, db: sqlite3.Connection, run_id: int
) -> None:
    take(client, run_id, PASTED)
    version = store.run(db, run_id).version
    values = {"version": str(version), "can_c": "61", "car_id": "1", "best_lap_s": "14.5"}
    assert client.post_form(f"/runs/{run_id}/edit", values).status_code == 303
    assert store.run(db, run_id).best_lap_s == 14.5
    assert laps_store.laps(db, run_id) == LAPS


def test_two_runs_stand_beside_each_other_lap_by_lap(
    client: PageClient, db: sqlite3.Connection, pit: Pit, run_id: int
) -> None:
    other = logged(db, pit, 30)
    take(client, run_id, PASTED)
    take(client, other, "15.0\n15.0\n15.0")
    page = client.get(f"/runs/{run_id}/laps?other={other}").text
    assert [figure(page, f"beside-{lap}-s") for lap in (1, 2, 3)] == [0.2, -0.1, 0]
    assert [figure(page, f"behind-{lap}-s") for lap in (1, 2, 3)] == [0.2, 0.1, 0.1]
    assert 'id="beside-4-s"' not in page
    assert figure(page, "beside-best-s") == pytest.approx(-0.1)
    assert client.get(f"/runs/{run_id}/laps?other=999").status_code == 404


def test_laps_go_along_in_a_sheet_and_come_back(
    client: PageClient, db: sqlite3.Connection, run_id: int
) -> None:
    take(client, run_id, PASTED)
    sheet = client.get("/exchange/sheets/runs.csv").data
    assert b"15.200 14.900 15.000 15.100 19.000" in sheet
    key = str(store.run(db, run_id).uuid).encode()
    changed = sheet.replace(key, b"")
    look = client.post(
        "/exchange/runs",
        data={"csrf_token": client.csrf_token(), "file": (io.BytesIO(changed), "runs.csv")},
    )
    (values,) = forms(look.text, "/exchange/runs/take")
    assert client.post_form("/exchange/runs/take", values).status_code == 303
    new = max(run.id for run in store.runs(db))
    assert new != run_id
    assert laps_store.laps(db, new) == LAPS


def test_the_file_of_everything_carries_laps(
    client: PageClient, db: sqlite3.Connection, run_id: int
) -> None:
    take(client, run_id, PASTED)
    text = "".join(document.write(db, RACE_MORNING))
    found = document.read(text.encode())
    assert [row["lap_times"] for row in found.tables["runs"]] == ["15200 14900 15000 15100 19000"]
    found.close()
    with pytest.raises(Exception, match="runs, row"):
        document.read(text.replace("15200 14900", "15200 quick").encode())


def test_laps_that_get_slower_stand_beside_the_cans_temperature(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    snapshot = Snapshot(car=FittedCar(id=pit.car, name="Example car"))
    steady = [15.0, 15.1, 15.0, 15.1, 14.9, 15.0, 15.1, 15.0]
    for minutes, can_c, laps_s, said in (
        (0, 74.0, [15.0 + 0.05 * lap for lap in range(8)], True),
        (30, 74.0, steady, False),
        (60, None, [15.0 + 0.05 * lap for lap in range(8)], False),
    ):
        started = RACE_MORNING + timedelta(minutes=minutes)
        run = Run(car_id=pit.car, started_at=started, snapshot=snapshot, can_c=can_c)
        run_id = store.save_run(db, run, RACE_MORNING)[0]
        laps_store.save_laps(db, run_id, laps_s, RACE_MORNING)
        db.commit()
        assert ('id="fade-and-can"' in client.get(f"/runs/{run_id}").text) is said

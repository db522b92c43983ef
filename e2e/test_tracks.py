"""A track on a phone: paced out, and telling what to start with next time."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.tracks import NewTrack, Plots, Tracks, TrackScreen
from e2e.server import Live
from pitapp.demo import fill


@pytest.mark.every_engine
def test_a_track_is_paced_out(live: Live, page: Page) -> None:
    form = NewTrack(page, live.url).open()
    form.fill("Name", "Mossy Hollow")
    form.unfold("Surface, lap length, every straight")
    page.get_by_label("Lap length").fill("248")
    form.measure(1, "52", "44", "31")
    form.measure(2, "24,5", "", "")
    form.check_usable()
    form.press("Save")
    expect(page.get_by_role("link", name="Mossy Hollow")).to_be_visible()
    with closing(sqlite3.connect(live.database)) as database:
        rows = database.execute(
            "SELECT length_m, entry_kmh, exit_kmh FROM track_straights ORDER BY position"
        ).fetchall()
    assert rows == [(52.0, 44.0, 31.0), (24.5, 31.0, 44.0)]
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_text("No tracks yet.")).to_be_visible()


def test_a_season_tells_what_to_start_with(live: Live, page: Page) -> None:
    fill(live.app)
    tracks = Tracks(page, live.url).open()
    tracks.check_usable()
    page.get_by_role("link", name="Mossy Hollow").tap()
    screen = TrackScreen(page, live.url)
    expect(page.get_by_role("heading", name="Start with")).to_be_visible()
    screen.check_usable()
    reasons = screen.reasons()
    assert "all in this class with this car" in reasons[0]
    assert any(reason.startswith("Best lap") for reason in reasons)
    assert any(reason.startswith("The can reached") for reason in reasons)
    with closing(sqlite3.connect(live.database)) as database:
        best = database.execute(
            "SELECT pinion_teeth || '/' || spur_teeth FROM runs WHERE removed_at IS NULL "
            "AND track_id = 1 AND car_id = 1 AND race_class_id = 1 GROUP BY pinion_teeth, spur_teeth "
            "HAVING ifnull(max(can_c), 0) <= 75 AND min(best_lap_s) IS NOT NULL "
            "ORDER BY min(best_lap_s) LIMIT 1"
        ).fetchone()[0]
    assert screen.figure("start-gear").get_attribute("value") == best
    page.get_by_role("link", name="Plots").tap()
    plots = Plots(page, live.url)
    expect(page.get_by_role("img", name="Can temperature by FDR")).to_be_visible()
    assert plots.numbers("can-by-ratio").get_by_role("link").count() > 10
    plots.check_usable()
    page.set_viewport_size({"width": 320, "height": 640})
    letters = page.locator("#can-by-ratio svg.plot-drawing text")
    heights = letters.evaluate_all(
        "(all) => all.map((text) => text.getScreenCTM().a * parseFloat(getComputedStyle(text).fontSize))"
    )
    assert min(heights) >= 17.5

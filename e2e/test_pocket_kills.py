"""A browser that is killed amid writes: nothing that was kept is lost, no group is there in part."""

from __future__ import annotations

import json
import os
import random
import time
from pathlib import Path

import pytest
from playwright.sync_api import expect

from e2e.pages.offline import Phone
from e2e.pages.pocket import STARTING_AT_MOST_MS
from e2e.pocket import StaticServer, beside
from e2e.watch import Watch

KILLS = "PITAPP_POCKET_KILLS"  # set: so many instead
USUALLY = 10
PAGE = Path(__file__).with_name("pocket_kills")


@pytest.fixture
def writing(pocket_folder: Path, tmp_path: Path, watch: Watch) -> StaticServer:
    """The folder's own scripts beside a page that does nothing but write."""
    server = beside(pocket_folder, tmp_path / "top", PAGE)
    watch.servers.add(server.netloc)
    watch.allow("status of 404")  # what the page says is only noted
    return server


@pytest.mark.every_engine
def test_what_was_kept_outlives_kills_amid_writes(
    writing: StaticServer, phone: Phone, browser_name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    chance = random.Random(18)
    kept, kills = 0, int(os.environ.get(KILLS, USUALLY))
    for _ in range(kills):
        page = phone.open()
        page.goto(writing.url)
        expect(page.locator("#said")).to_contain_text("opened", timeout=STARTING_AT_MOST_MS)
        state = json.loads(page.locator("#said").inner_text().removeprefix("opened "))
        assert (state["partial"], state["sound"]) == (0, "ok")
        assert state["last"] >= kept, f"group {kept} was kept and {state['last']} is the last there"
        writing.wait_for_word(f"kept/{state['last'] + 1 + chance.randrange(20)}")
        time.sleep(chance.random() / 50)
        phone.kill()
        kept = max(writing.numbers("kept"))
    writing.stop()
    with capsys.disabled():
        print(f"\n{browser_name}: {kills} kills, {kept} groups kept, none lost, none in part")

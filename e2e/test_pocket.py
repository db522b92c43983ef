"""In the phone's own browser: what is saved there stays, whatever becomes of browser and network."""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import pickle
import re
import shutil
import time
import zipfile
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from pathlib import Path
from shutil import copytree
from typing import Literal
from zoneinfo import ZoneInfo

import pytest
from jinja2 import FileSystemBytecodeCache
from playwright.sync_api import expect

from e2e import a11y
from e2e.pages.kit import Kit, NewCar
from e2e.pages.offline import Phone
from e2e.pages.pocket import STARTING_AT_MOST_MS, Shell
from e2e.pocket import UNDER, StaticServer, beside, make_newer
from e2e.watch import Watch
from pitapp.pocket import parts

MOST_BYTES = 10_000_000
CACHES = "async () => (await caches.keys()).filter((name) => name.startsWith('http'))"
NEVER_STARTS = "globalThis.Worker = class { postMessage() {} };"
FAILS = """globalThis.Worker = class {
    postMessage() { this.onmessage({ data: { failed: "A fault of this version.", name: "Error" } }); }
};"""
FULL = """() => {
    globalThis.before = FileSystemSyncAccessHandle.prototype.write;
    FileSystemSyncAccessHandle.prototype.write = () => { throw new DOMException("", "QuotaExceededError"); };
}"""
ROOM_AGAIN = "() => { FileSystemSyncAccessHandle.prototype.write = globalThis.before; }"
NEWER = """
import sqlite3
db = sqlite3.connect("/data/pitapp.sqlite3", isolation_level=None)
db.execute("PRAGMA user_version = 9999")
db.execute("PRAGMA user_version").fetchone()[0]
"""
UPDATE = """async () => {
    const registration = await navigator.serviceWorker.getRegistration();
    await registration.update().catch(() => {});
    const coming = registration.installing;
    if (coming) await new Promise((done) => {
        coming.onstatechange = () => { if (coming.state !== "installing") done(); };
    });
}"""


@pytest.mark.every_engine
def test_a_saved_car_survives_a_killed_browser_and_a_dead_network(
    pocket_site: StaticServer, phone: Phone, browser_name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    page = phone.open()
    began = time.monotonic()
    shell = Shell(page, pocket_site.url)
    shell.open()
    first, sent = time.monotonic() - began, pocket_site.sent
    beside = phone.another_page()
    NewCar(beside, shell.app).open().add("Invented TC", "1.9", "64 DP", "63")
    expect(beside.locator("body")).to_contain_text("Invented TC")
    phone.kill()
    pocket_site.stop()

    page = phone.open()
    began = time.monotonic()
    shell = Shell(page, pocket_site.url)
    shell.open()
    second = time.monotonic() - began
    beside = phone.another_page()
    kit = Kit(beside, shell.app).open()
    expect(kit.page.locator("main")).to_contain_text("Invented TC")
    with capsys.disabled():
        print(
            f"\n{browser_name}: {sent / 1e6:.2f} MB sent, live after {first:.1f} s, "
            f"again with no network after {second:.1f} s"
        )


def test_a_new_version_is_brought_whole_and_offered(
    pocket_folder: Path, tmp_path: Path, watch: Watch, phone: Phone
) -> None:
    top = Path(copytree(pocket_folder, tmp_path / "top"))
    site = StaticServer(top)
    watch.servers.add(site.netloc)
    watch.allow("status of 404")
    page = phone.open()
    Shell(page, site.url).open()
    first = page.evaluate(CACHES)

    make_newer(top / UNDER, "f" * 16, "cut-off.js")
    page.reload()
    Shell(page, site.url).expect_app()
    beside = phone.another_page()
    beside.goto(f"{site.url}app/gearing")
    beside.evaluate(UPDATE)
    expect(beside.locator("#new-version")).to_have_count(0)
    assert set(first) <= set(page.evaluate(CACHES))

    shutil.rmtree(top)
    copytree(pocket_folder, top)
    make_newer(top / UNDER, "e" * 16)
    beside.evaluate(UPDATE)
    beside.reload()
    expect(beside.locator("#new-version")).to_be_visible(timeout=STARTING_AT_MOST_MS)
    beside.locator("#new-version button").tap()
    Shell(page, site.url).expect_app()
    page.wait_for_function(
        f"async () => ({CACHES})().then((names) => names.every((n) => n.endsWith('eeee')))"
    )
    site.stop()


def test_a_version_that_does_not_start_leaves_the_way_to_the_next_one(
    pocket_folder: Path, tmp_path: Path, watch: Watch, phone: Phone
) -> None:
    top = Path(copytree(pocket_folder, tmp_path / "top"))
    worker = top / UNDER / "python.js"
    good = worker.read_text()
    worker.write_text(f'throw new Error("A fault of this version.");\n{good}')
    site = StaticServer(top)
    watch.servers.add(site.netloc)
    watch.allow("A fault of this version")
    page = phone.open()
    page.goto(site.url)
    again = page.locator("#again")
    expect(again).to_be_visible(timeout=STARTING_AT_MOST_MS)
    page.reload()
    expect(again).to_be_visible(timeout=STARTING_AT_MOST_MS)

    worker.write_text(good)
    make_newer(top / UNDER, "d" * 16)
    page.evaluate(UPDATE)
    again.tap()
    Shell(page, site.url).expect_app()
    site.stop()


def test_back_leads_through_what_was_shown_and_an_address_to_its_place(
    pocket_site: StaticServer, phone: Phone
) -> None:
    page = phone.open()
    shell = Shell(page, pocket_site.url)
    shell.open("/kit")
    app = page.frame_locator("#app")
    expect(page).to_have_url(f"{pocket_site.url}#/kit")
    for place in ("gearing", "runs"):
        app.locator(f"nav a[href$='/{place}']").first.tap()
        expect(page).to_have_url(f"{pocket_site.url}#/{place}")
        expect(app.locator("main")).to_be_visible()
    for place in ("gearing", "kit"):
        page.go_back()
        expect(page).to_have_url(f"{pocket_site.url}#/{place}")
        expect(app.locator("h1")).to_contain_text(place, ignore_case=True)
    page.go_forward()
    expect(app.locator("h1")).to_contain_text("Gearing")
    page.evaluate("location.hash = '#/settings'")
    expect(app.locator("h1")).to_contain_text("Settings")
    expect(page).to_have_url(f"{pocket_site.url}#/settings")
    page.go_back()
    expect(app.locator("h1")).to_contain_text("Gearing")


def test_the_phones_own_time_zone_counts(pocket_site: StaticServer, phone: Phone) -> None:
    page = phone.open(timezone_id="Pacific/Auckland")
    shell = Shell(page, pocket_site.url)
    shell.open("/copies")
    zone, began = ZoneInfo("Pacific/Auckland"), datetime.now(UTC)
    copies = page.frame_locator("#app")
    copies.get_by_role("button", name="Make a copy now").tap()
    made = copies.locator("ol.rows b").first
    expect(made).to_be_visible()
    minutes = int((datetime.now(UTC) - began).total_seconds() // 60) + 2
    walls = [
        f"{(began + timedelta(minutes=each)).astimezone(zone):%H:%M}" for each in range(minutes)
    ]
    expect(made).to_have_text(re.compile("|".join(walls)))


def test_a_full_phone_is_a_sentence_and_nothing_kept_is_lost(
    pocket_site: StaticServer, phone: Phone, watch: Watch
) -> None:
    watch.allow("status of 507")
    page = phone.open()
    shell = Shell(page, pocket_site.url)
    shell.open()
    beside = phone.another_page()
    NewCar(beside, shell.app).open().add("First TC", "1.9", "64 DP", "63")
    expect(beside.locator("body")).to_contain_text("First TC")
    form = NewCar(beside, shell.app).open()
    page.workers[0].evaluate(FULL)
    form.add("Second TC", "1.9", "64 DP", "63")
    expect(beside.locator("body")).to_contain_text("Nothing was saved; make room first")
    page.workers[0].evaluate(ROOM_AGAIN)
    kit = Kit(beside, shell.app).open()
    expect(kit.page.locator("main")).to_contain_text("First TC")
    expect(kit.page.locator("main")).not_to_contain_text("Second TC")
    NewCar(beside, shell.app).open().add("Third TC", "1.9", "64 DP", "63")
    expect(beside.locator("body")).to_contain_text("Third TC")


def test_data_of_a_newer_version_are_left_alone(
    pocket_folder: Path, tmp_path: Path, watch: Watch, phone: Phone
) -> None:
    storage = Path(__file__).with_name("pocket_storage")
    server = beside(pocket_folder, tmp_path / "top", storage)
    watch.servers.add(server.netloc)
    pit = f"http://{server.netloc}/{UNDER}/"
    Shell(phone.open(), pit).open()
    phone.close()
    page = phone.open()
    page.goto(f"{server.url}?folder=pitapp /{UNDER}/app")
    expect(page.locator("#said")).to_have_text("opened", timeout=STARTING_AT_MOST_MS)
    newer = page.evaluate("(code) => globalThis.run(code)", NEWER)
    assert newer["result"] == 9999
    phone.close()
    page = phone.open()
    page.goto(pit)
    trouble = page.locator("#trouble")
    expect(trouble).to_contain_text("newer pitapp", timeout=STARTING_AT_MOST_MS)
    expect(trouble).not_to_contain_text("Traceback")
    expect(page.locator("#app")).to_be_hidden()
    server.stop()


def test_the_browser_is_asked_at_a_tap_to_keep_the_data(
    pocket_site: StaticServer, phone: Phone
) -> None:
    Shell(phone.open(), pocket_site.url).open()
    page = phone.another_page()
    page.goto(f"{pocket_site.url}app/settings")
    state = page.locator("#own-storage")
    expect(state).to_contain_text("When the phone is full, the browser may drop your data")
    page.locator("#keep-storage").tap()
    answers = [state.get_attribute(f"data-{word}") or "" for word in ("granted", "refused")]
    expect(state).to_have_text(re.compile("|".join(map(re.escape, answers))))


def test_the_board_as_it_was_stands_while_python_starts(
    pocket_site: StaticServer, phone: Phone
) -> None:
    first = phone.open()
    Shell(first, pocket_site.url).open()
    app = f"{pocket_site.url}app"
    beside = phone.another_page()
    NewCar(beside, app).open().add("Invented TC", "1.9", "64 DP", "63")
    expect(beside.locator("body")).to_contain_text("Invented TC")
    first.reload()
    Shell(first, pocket_site.url).expect_app()
    phone.close()

    page = phone.open()
    page.add_init_script(NEVER_STARTS)
    page.goto(pocket_site.url)
    expect(page.locator("#age")).to_contain_text("The Board as it was")
    seen = page.frame_locator("#seen")
    expect(seen.locator("main")).to_contain_text("Add your class")  # the step after the car's
    expect(seen.locator("script")).to_have_count(0)
    expect(page.locator("#seen")).to_have_attribute("inert", "")
    expect(page.locator("#app")).to_be_hidden()
    a11y.check(page)


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("worker", ["NEVER_STARTS", "FAILS"])
def test_the_page_around_the_app_is_one_to_read_and_to_tap(
    pocket_site: StaticServer, phone: Phone, look: Literal["light", "dark"], worker: str
) -> None:
    page = phone.open()
    page.emulate_media(color_scheme=look)
    page.add_init_script({"NEVER_STARTS": NEVER_STARTS, "FAILS": FAILS}[worker])
    page.goto(pocket_site.url)
    expect(page.locator("#step")).to_be_visible()
    expect(page.locator("#again")).to_be_visible(visible=worker == "FAILS")
    a11y.check(page)


def test_the_folder_is_what_its_lists_say(pocket_folder: Path) -> None:
    folder = pocket_folder / UNDER
    listed = json.loads(
        re.sub(r"^export const LIST = |;\s*$", "", (folder / "list.js").read_text())
    )
    for part in listed["parts"].values():
        content = (folder / part["address"].partition("?")[0]).read_bytes()
        digest = base64.b64encode(hashlib.sha256(content).digest()).decode()
        assert part["integrity"] == f"sha256-{digest}"
        assert part["bytes"] == len(content)
    assert all((folder / name).exists() for name in listed["small"])
    assert json.dumps(listed, indent=1) in (folder / "sw.js").read_text()
    assert sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) < MOST_BYTES

    mark = json.loads((folder / "pitapp-pocket.json").read_text())
    assert mark["version"] == listed["version"]
    for part in (parts.runtime(), *parts.wheels()):
        assert mark["parts"].pop(part.package) == part.version
        sums = hashlib.sha256(parts.fetched(part).read_bytes()).hexdigest()
        assert sums == part.sha256
    licences = (folder / "LICENCES.txt").read_text()
    for name, used in mark["parts"].items():
        assert version(name) == used
    for name in ("pyodide", "flask", "jinja2", "werkzeug", "click", "pydantic"):
        assert name in licences


def test_the_boards_templates_lie_there_compiled(pocket_folder: Path) -> None:
    packed = (pocket_folder / UNDER / "runtime" / "packages.zip.gz").read_bytes()
    names = FileSystemBytecodeCache("")
    with zipfile.ZipFile(io.BytesIO(gzip.decompress(packed))) as packages:
        for template in ("macros.html", "base.html", "board/page.html", "_foot.html"):
            place = f"pitapp/templates/{template}"
            key = names.get_cache_key(template, f"/packages/{place}")
            name = f"pitapp/compiled_templates/__jinja2_{key}.cache"
            content = io.BytesIO(packages.read(name))
            assert content.read(2) == b"j2"
            _format, python, sum_of_source = (pickle.load(content) for _ in range(3))
            assert python == (3 << 24) | 14
            assert sum_of_source == names.get_source_checksum(packages.read(place).decode())


def test_a_second_tab_works_through_the_first_and_then_alone(
    pocket_site: StaticServer, phone: Phone
) -> None:
    first = phone.open()
    Shell(first, pocket_site.url).open()
    second = phone.another_page()
    shell = Shell(second, pocket_site.url)
    second.goto(pocket_site.url)
    expect(second).to_have_url(f"{shell.app}/", timeout=STARTING_AT_MOST_MS)
    NewCar(second, shell.app).open().add("Invented TC", "1.9", "64 DP", "63")
    expect(second.locator("body")).to_contain_text("Invented TC")
    first.close()
    second.goto(f"{shell.app}/kit")
    shell.expect_app()
    expect(second).to_have_url(f"{pocket_site.url}#/kit")
    expect(second.frame_locator("#app").locator("main")).to_contain_text("Invented TC")

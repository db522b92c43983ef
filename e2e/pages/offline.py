"""A phone whose pages work with no server, and its Outbox screen."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, BrowserType, Error, Locator, Page, expect

from e2e.pages.base import Screen
from e2e.pocket import kill_browser
from e2e.watch import Watch

KEPT = """async (database) => {
  if (!navigator.serviceWorker.controller) return false;
  for (const name of await caches.keys()) {
    const one = name.startsWith("pages-") && name.endsWith(database);
    if (one && await (await caches.open(name)).match("/offline/runs")) return true;
  }
  return false;
}"""
RUNS_KEPT = """async () => {
  for (const name of await caches.keys()) {
    const runs = name.startsWith("pages-") && (await (await caches.open(name)).match("/offline/runs"));
    if (runs && (%s)(await runs.json())) return true;
  }
  return false;
}"""
CHANGE = """([change, older]) => new Promise((resolve, reject) => {
  const asked = indexedDB.open("pitapp");
  asked.onsuccess = () => {
    const store = asked.result.transaction("outbox", "readwrite").objectStore("outbox");
    store.getAll().onsuccess = ({ target }) => {
      for (const entry of target.result) store.put({ ...entry, ...change, madeAt: entry.madeAt - older });
    };
    store.transaction.oncomplete = () => { asked.result.close(); resolve(); };
    store.transaction.onerror = reject;
  };
})"""
POST = """async ([path, fields]) => {
  const body = new URLSearchParams({ ...fields, idempotency_key: crypto.randomUUID() });
  const send = () => fetch(path, { method: "POST", body, headers: { "HX-Request": "true" } });
  // A busy browser may end its worker in the midst of its work: then the racer taps again.
  const answer = await send().catch(send);
  return answer.text();
}"""


class Phone:
    """A browser with a profile of its own that is closed and opened again; it may keep a worker."""

    def __init__(
        self,
        browser_type: BrowserType,
        profile: Path,
        options: dict[str, Any],
        watch: Watch,
    ) -> None:
        self._browser_type, self._profile = browser_type, profile
        self._options = {**options, "service_workers": "allow"}
        self._watch = watch
        self._context: BrowserContext | None = None

    def open(self, **more: Any) -> Page:
        """Open the browser, with more options if any are given, and a page in it."""
        self._context = self._browser_type.launch_persistent_context(
            str(self._profile), **{**self._options, **more}
        )
        self._watch.over(self._context)
        return self._context.new_page()

    def another_page(self) -> Page:
        """Open a page beside those that are open."""
        assert self._context is not None
        return self._context.new_page()

    def kill(self) -> None:
        """End every process of the browser at once, as an empty battery does (SIGKILL)."""
        assert self._context is not None
        kill_browser(self._profile)
        with suppress(Error):
            self._context.close()
        self._context = None

    def close(self) -> None:
        """Close the browser."""
        if self._context is not None:
            self._context.close()
            self._context = None

    def forget_cookies(self) -> None:
        assert self._context is not None
        self._context.clear_cookies()


def visit_once(page: Page, url: str) -> None:
    """Visit the Board once, and wait until the phone has kept what it needs."""
    page.goto(url)
    wait_until_kept(page)


def wait_until_kept(page: Page) -> None:
    """
    Wait until the phone has kept what it needs of the database that the open page is from, and until its worker
    has taken over: a page that is opened before that is not kept.
    """
    database = page.locator("html").get_attribute("data-database") or ""
    wait_until(
        page, KEPT, database, lacking="The phone kept no pages, or its worker did not take over."
    )


def wait_until_charge_is_kept(page: Page) -> None:
    """Wait until the phone has kept that a pack is on the charger."""
    wait_until_run_is_kept(page, "(runs) => runs.some((run) => run.start?.busy)")


def wait_until_run_is_kept(page: Page, is_so: str) -> None:
    """
    Wait until what the phone keeps of run-throughs and charges is so, by a JavaScript function of their list: it is
    fetched anew a little after a write.
    """
    wait_until(page, RUNS_KEPT % is_so, lacking=f"The phone kept nothing of which {is_so}.")


def wait_until(page: Page, script: str, value: Any = None, *, lacking: str) -> None:
    """Ask the page again and again, for 40 s at most, until the script's answer is true."""
    for _ in range(400):
        if page.evaluate(script, value):
            return
        page.wait_for_timeout(100)
    raise AssertionError(lacking)


def age_entries(page: Page, hours: float) -> None:
    """Make what waits older than it is."""
    page.evaluate(CHANGE, [{}, hours * 3_600_000])


def change_entries(page: Page, change: dict[str, Any]) -> None:
    """Write this into everything that waits."""
    page.evaluate(CHANGE, [change, 0])


def fit_a_gear(page: Page, url: str, pinion: str = "44") -> None:
    """Fit that pinion and a spur of 66 on the Gearing screen, with no server."""
    page.goto(f"{url}/gearing")
    tap_fit(page, pinion)
    expect(bars(page)).to_contain_text(f"pinion {pinion}")


def tap_fit(page: Page, pinion: str = "44") -> None:
    """Do so on the screen that is open."""
    page.locator("#pinion").fill(pinion)
    page.locator("#spur").fill("66")
    page.locator("#fit").tap()
    expect(bars(page)).to_contain_text("Saved on this phone", timeout=20_000)


def post(page: Page, path: str, fields: dict[str, str]) -> str:
    """Send a form as a page does that goes on without waiting; returns what was answered."""
    answer: str = page.evaluate(POST, [path, fields])
    return answer


class Outbox(Screen):
    path = "/outbox"

    def entries(self) -> Locator:
        return self.page.locator(".waiting-entry")

    def expect_waiting(self, count: int) -> None:
        expect(self.entries()).to_have_count(count)


def bars(page: Page) -> Locator:
    """What the page says about the copy's age and about what waits."""
    return page.locator("#offline-part")

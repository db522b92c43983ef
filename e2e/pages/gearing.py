"""The Gearing screens."""

from __future__ import annotations

from playwright.sync_api import Locator

from e2e.pages.base import Screen


class Gearing(Screen):
    path = "/gearing"

    def tap_step(self, name: str, way: str) -> None:
        """Tap − ("less") or + ("more") of the pinion or the spur."""
        self.page.get_by_role("button", name=f"{name}: {way}").tap()

    def neighbour(self, way: str) -> Locator:
        """The button of the next longer or shorter pair."""
        return self.page.locator(f"#{way}")

    def find(self, figure: str) -> Locator:
        """Type what is wanted; the pairs that come nearest."""
        self.page.get_by_label("How much").fill(figure)
        return self.near()

    def near(self) -> Locator:
        """The pairs that come near to what is wanted, nearest first."""
        return self.page.locator("#near > li")

    def fit(self) -> Locator:
        """The button that logs the pair as fitted."""
        return self.page.locator("#fit")


class Table(Screen):
    path = "/gearing/table"

    def pair(self, pinion: int, spur: int) -> Locator:
        """The cell of a pair that fits."""
        return self.page.locator(f"td > a[aria-label^='{pinion} / {spur}:']")


class Log(Screen):
    path = "/gearing/log"

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


class Wanted(Screen):
    path = "/gearing/wanted"

    def results(self) -> Locator:
        return self.page.locator("#wanted-part ol > li")


class Table(Screen):
    path = "/gearing/table"


class Log(Screen):
    path = "/gearing/log"

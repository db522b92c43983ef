"""The Board."""

from __future__ import annotations

from playwright.sync_api import Locator

from e2e.pages.base import Screen


class Board(Screen):
    path = "/"

    def countdown(self) -> Locator:
        """The clock that runs down to the next entry of the timetable."""
        return self.page.locator("[data-starts-at]")

    def line(self, name: str) -> Locator:
        """The readiness line of that name."""
        return self.page.locator(".ready .verdict", has_text=f"{name}:")

    def due(self) -> Locator:
        """The one large button."""
        return self.page.locator(".main-action")

    def later(self, title: str) -> None:
        """Tap +5 min for that heat and all after it."""
        self.page.get_by_role("button", name=f"{title} and all after it: 5 min later").tap()

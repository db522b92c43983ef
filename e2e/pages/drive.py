"""The Forecast screens."""

from __future__ import annotations

from playwright.sync_api import Locator

from e2e.pages.base import Screen


class Forecast(Screen):
    path = "/forecast"

    def guess_track(self, longest_m: str, corners: str) -> None:
        """Give the longest straight and the feel of the corners."""
        self.page.get_by_label("Longest straight").fill(longest_m)
        self.page.get_by_text(corners, exact=True).tap()
        self.press("Forecast")

    def best(self) -> Locator:
        """The heading of the gear that is ranked first."""
        return self.page.locator("#best-title")

    def others(self) -> Locator:
        """The rows of the table of other gears."""
        return self.page.locator("#others tbody tr")


class Learned(Screen):
    path = "/forecast/learned"

    def trials(self) -> Locator:
        """The runs, each with its forecast and what happened."""
        return self.page.locator("#trials > li")


class WhatIf(Screen):
    path = "/forecast/what-if"

    def effects(self) -> Locator:
        """The changes with what each of them does."""
        return self.page.locator("#what-ifs > li")


class Shopping(Screen):
    path = "/forecast/shopping"


class Figures(Screen):
    path = "/forecast/figures"

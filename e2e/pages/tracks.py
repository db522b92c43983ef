"""The Tracks screens."""

from __future__ import annotations

from playwright.sync_api import Locator

from e2e.pages.base import Screen


class Tracks(Screen):
    path = "/tracks"


class NewTrack(Screen):
    path = "/tracks/new"

    def straight(self, number: int) -> Locator:
        """The fields of one straight."""
        return self.page.locator(f"#straight-{number}")

    def measure(self, number: int, length: str, speed_in: str = "", speed_out: str = "") -> None:
        """Fill in one straight, adding rows until it is there."""
        self.unfold("Surface, lap length, every straight")
        while self.straight(number).count() == 0:
            self.press("Another straight")
            self.straight(number).wait_for()
        for label, value in (("Length", length), ("In, km/h", speed_in), ("Out, km/h", speed_out)):
            self.straight(number).get_by_label(label).fill(value)


class TrackScreen(Screen):
    path = "/tracks/1"

    def reasons(self) -> list[str]:
        """Why the starting gear is what it is."""
        return self.page.locator(".reasons li").all_inner_texts()


class Plots(Screen):
    path = "/tracks/1/plots"

    def numbers(self, plot: str) -> Locator:
        """The table beside a plot, opened."""
        details = self.page.locator(f"#{plot} details")
        if details.get_attribute("open") is None:
            details.locator("summary").tap()
        return details.locator("table")

"""The screens of the log."""

from __future__ import annotations

from playwright.sync_api import Locator, expect

from e2e.pages.base import Screen


class Runs(Screen):
    path = "/runs"

    def lines(self) -> Locator:
        """The runs listed, newest first."""
        return self.page.locator("a.log-row")

    def expect_changes(self, *texts: str) -> None:
        """Wait until these are among what changed."""
        for text in texts:
            expect(self.page.locator(".changes").get_by_text(text, exact=True)).to_be_visible()


class NewRun(Screen):
    path = "/runs/new"

    def temperature(self, value: object) -> None:
        """Type the can's temperature."""
        self.page.get_by_label("Can temperature").fill(str(value))

    def read_after(self, choice: str) -> None:
        """Tap one of the quick choices."""
        self.page.get_by_label(choice, exact=True).tap()

    def pack(self, mark: str) -> None:
        """Tap the pack that was in the car."""
        group = self.page.get_by_role("group", name="Pack in the car")
        group.get_by_label(mark, exact=True).tap()

    def save(self) -> None:
        """Tap the Save that stands under the temperature, and wait for the log."""
        self.page.get_by_role("button", name="Save").first.tap()
        expect(self.page.get_by_text("Logged the run")).to_be_visible()


class OneRun(Screen):
    def __init__(self, screen: Screen, run_id: int) -> None:
        super().__init__(screen.page, screen.url)
        self.address = f"/runs/{run_id}"

    def show(self, path: str = "") -> None:
        """Open the run, or one of its forms."""
        self.page.goto(self.url + self.address + path)


class SetUp(Screen):
    path = "/runs/setup"

    def entry(self, name: str, group: str) -> Locator:
        """The row of an entry."""
        return self.page.get_by_role("region", name=group).get_by_role("link", name=name)


class Tyres(Screen):
    path = "/runs/tyres"

"""The Checks screens: run-throughs, the card, controllers and their plan."""

from __future__ import annotations

import re

from playwright.sync_api import Locator, expect

from e2e.pages.base import Screen

HIDDEN_BELOW = """() => {
    const foot = document.querySelector(".foot").getBoundingClientRect().top;
    return [...document.querySelectorAll("main *")]
        .filter((each) => each.checkVisibility() && !each.closest(".away"))
        .filter((each) => each.getBoundingClientRect().bottom > foot + 0.5)
        .map((each) => each.outerHTML.slice(0, 80));
}"""

ALL_SETTINGS = re.compile(r"^(Run through the settings|All settings \(\d+\))$")
"""Where all are gone through: the second way where what it takes to race comes first."""


class Checks(Screen):
    path = "/checks"

    def run_through(self) -> RunThrough:
        """Begin the controller's settings, or take them up where they were left."""
        self.page.get_by_role("link", name=ALL_SETTINGS).tap()
        return RunThrough(self.page, self.url)


class RunThrough(Screen):
    """One step of a run-through, or its verdict."""

    def title(self) -> Locator:
        """The name of the step."""
        return self.page.locator("#step-title")

    def expect_step(self, name: str, place: str) -> None:
        """Wait until that step is shown, with nothing to scroll to."""
        expect(self.title()).to_have_text(name)
        expect(self.page.locator(".step-place span").first).to_have_text(place)
        assert self.page.evaluate(HIDDEN_BELOW) == [], name

    def confirm(self) -> None:
        """Tap the large button."""
        self.page.locator("button.main-action[name=take]").tap()

    def enter(self, shown: object) -> None:
        """Type what it shows instead, and save."""
        self.page.locator("#shown").fill(str(shown))
        self.press("Save")

    def let_stand(self, reason: str) -> None:
        """Go on with a reading outside the class, for this reason."""
        summary = self.page.get_by_text("Keep it anyway", exact=True)
        if not self.page.locator("#reason").is_visible():
            summary.tap()
        self.page.locator("#reason").fill(reason)
        self.press("Go on, not legal")

    def stop(self) -> Locator:
        """The stop sign of a reading outside the class."""
        return self.page.get_by_role("alert")

    def verdict(self) -> Locator:
        """The verdict, once every step is settled."""
        return self.page.locator("#verdict .verdict").first

    def findings(self, title: str) -> Locator:
        """The lines under a heading of the verdict."""
        return self.page.locator(
            "#verdict section", has=self.page.get_by_role("heading", name=title)
        )


class Card(Screen):
    path = "/checks/card"


class NewController(Screen):
    path = "/checks/controllers/new"

    def add(self, name: str, firmware: str, signal: str) -> None:
        """Add a controller with the general list, in the current car."""
        self.page.get_by_label("Name").fill(name)
        self.unfold("Firmware, rev-limit signal, remarks")
        self.page.get_by_label("Firmware").fill(firmware)
        self.page.get_by_label("How it shows its rev limit").fill(signal)
        self.press("Save")


class Plan(Screen):
    def write(self, planned: dict[str, str]) -> None:
        """Plan these settings, by name, and save."""
        for name, value in planned.items():
            field = self.page.get_by_label(name, exact=True)
            if field.evaluate("field => field.localName") == "select":
                field.select_option(value)
            else:
                field.fill(value)
        self.press("Save the plan")

"""The screens of packs."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from tests.packs_walk import GOOD


class Packs(Screen):
    path = "/packs"


class Plan(Screen):
    path = "/packs/plan"

    def watchers(self, label: str) -> None:
        """Say who watches the chargers while the racer drives or marshals."""
        self.page.get_by_label(label, exact=True).check()

    def rows(self) -> list[str]:
        """Return what is to be done, in order, each as one line."""
        return [
            " ".join(each.split()) for each in self.page.locator(".timeline li").all_inner_texts()
        ]


class Charge(Screen):
    """A charge by steps, from the first look to the countdown."""

    def __init__(self, page: Page, url: str, pack_id: int) -> None:
        super().__init__(page, url)
        self.pack_id = pack_id

    def begin(self, purpose: str = "full") -> Charge:
        """Go to the first step."""
        self.page.goto(f"{self.url}/packs/{self.pack_id}/charge?purpose={purpose}")
        return self

    def expect_step(self, title: str) -> None:
        """Wait until this step is shown."""
        expect(self.page.locator("#step-title")).to_have_text(title)

    def yes(self, label: str) -> None:
        """Give the good answer of a step with two buttons."""
        self.press(label)

    def measure(self, *volts: str) -> None:
        """Type the voltage of each cell and go on."""
        for number, typed in enumerate(volts, 1):
            self.page.get_by_label(f"Resting voltage, cell {number}").fill(typed)
        self.press("Next")

    def program(self, cells: str, amps: str) -> None:
        """Type what the charger shows and go on."""
        self.page.get_by_label("Cells it shows").fill(cells)
        if self.page.locator("[name=charger]").count():
            self.page.locator("[name=charger]").first.check()
        self.page.get_by_label("Current it shows").fill(amps)
        self.press("Next")

    def up_to_the_leads(self) -> Charge:
        """Answer everything before the pack is plugged in."""
        self.begin()
        for title, label in (("Look at it", "Looks sound"), ("Feel it", "Feels sound")):
            self.expect_step(title)
            self.press(label)
        self.expect_step("Take its temperature")
        self.page.get_by_label("Cells at about").fill(GOOD["warmth"]["cell_c"])
        self.press("Next")
        self.expect_step("Read the label")
        self.press("The label says so")
        self.expect_step("Safe place")
        self.press("It is in a safe place")
        self.expect_step("Plug it in")
        return self

    def up_to_the_program(self) -> Charge:
        """Answer everything before the charger's program."""
        self.up_to_the_leads().press("Both are in")
        self.expect_step("Measure each cell")
        self.measure("3.75", "3.76")
        self.expect_step("Set the charger")
        return self

    def to_the_start(self) -> Charge:
        """Answer everything; the countdown does not run yet."""
        self.up_to_the_program().program("2", "6")
        self.expect_step("Somebody stays")
        self.press("Somebody stays")
        expect(self.page.get_by_text("Start the charger now.")).to_be_visible()
        return self


class Countdown(Screen):
    """The countdown of one charge."""

    def __init__(self, page: Page, url: str, uuid: str) -> None:
        super().__init__(page, url)
        self.uuid = uuid

    def go(self) -> Countdown:
        """Open its page and wait until the seconds count."""
        answer = self.page.goto(f"{self.url}/packs/charges/{self.uuid}")
        assert answer is not None
        assert answer.ok
        self.expect_counting()
        return self

    def expect_counting(self) -> None:
        """Wait until minutes and seconds are shown, or that the time is up."""
        expect(self.page.locator("[data-clock]")).to_contain_text(":")

    def seconds(self) -> int:
        """Return what is left, as it is shown."""
        text = self.page.locator("[data-clock]").inner_text()
        total = 0
        for part in text.split(":"):
            total = 60 * total + int(part)
        return total

    def expect_seconds(self, wanted: float, within: float = 3) -> None:
        """Wait until what is left is so many seconds, give or take a few."""
        self.page.wait_for_function(
            """([wanted, within]) => {
                const text = document.querySelector('[data-clock]').textContent;
                const shown = text.split(':').reduce((total, part) => 60 * total + Number(part), 0);
                return text.includes(':') && Math.abs(shown - wanted) <= within;
            }""",
            arg=[wanted, within],
        )

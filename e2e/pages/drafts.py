"""What a page offers of what was typed on it before and not saved."""

from __future__ import annotations

from playwright.sync_api import Locator, Page, expect

KEPT = """() => Object.fromEntries(
    Object.entries(localStorage).filter(([key]) => key.startsWith("pitapp-draft "))
)"""


class Drafts:
    def __init__(self, page: Page) -> None:
        self.page = page

    def offers(self) -> Locator:
        """The bars that offer something."""
        return self.page.locator(".draft:not(.answered)")

    def kept(self) -> dict[str, str]:
        """All drafts that this phone keeps."""
        found: dict[str, str] = self.page.evaluate(KEPT)
        return found

    def answer(self, word: str, offer: int = 0) -> None:
        """Tap "Put back" or "Discard"."""
        self.offers().nth(offer).get_by_role("button", name=word).tap()

    def is_offered(self, field: Locator, typed: str) -> bool:
        """Whether this is offered; some browsers fill a form again by themselves, then it is in the field."""
        for _ in range(200):
            if self.offers().count():
                return True
            if field.count() and field.input_value() == typed:
                return False
            self.page.wait_for_timeout(100)
        raise AssertionError(f"{typed} is neither in its field nor offered.")

    def expect_none(self) -> None:
        """Nothing is offered, nor kept to be offered later."""
        expect(self.offers()).to_have_count(0)
        self.page.wait_for_function(f"() => Object.keys(({KEPT})()).length === 0")


def foot(page: Page, place: str) -> None:
    """Tap a place of the foot bar and wait for its page."""
    page.locator(".foot").get_by_role("link", name=place).tap()
    expect(page.locator(".foot [aria-current]")).to_have_text(place)


def type_a_run(page: Page, url: str) -> None:
    """Fill in some of a run, and leave it unsaved."""
    page.goto(f"{url}/runs/new")
    page.locator("#can_c").fill("61")
    page.get_by_label("1 min", exact=True).tap()
    page.locator("#remarks").fill("Loose at the rear")
    page.locator("#heat_id").select_option(index=1)


def expect_a_run(page: Page) -> None:
    """Wait until all of it is in the form."""
    expect(page.locator("#can_c")).to_have_value("61")
    expect(page.get_by_role("radio", name="1 min")).to_be_checked()
    expect(page.locator("#remarks")).to_have_value("Loose at the rear")

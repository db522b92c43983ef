"""What every screen has: an address, figures, and what it says after a write."""

from __future__ import annotations

from typing import ClassVar, Self
from urllib.parse import urlencode

from playwright.sync_api import Locator, Page, expect

from e2e import a11y

# What was given up while it was on its way never arrives, as with a slow network.
SLOW_ANSWERS = """(ms) => {
    const quick = window.fetch;
    window.unanswered = 0;
    window.fetch = async (address, options) => {
        window.unanswered += 1;
        try {
            const answer = await quick(address, options);
            await new Promise((done) => setTimeout(done, ms));
            options?.signal?.throwIfAborted();
            return answer;
        } finally {
            setTimeout(() => requestAnimationFrame(() => { window.unanswered -= 1; }), 50);
        }
    };
}"""


TWO_TAPS = "button => { button.click(); setTimeout(() => button.click(), 300); }"


class Screen:
    """One screen of the app; a room's page object derives from it and says its `path`."""

    path: ClassVar[str] = "/"

    def __init__(self, page: Page, url: str) -> None:
        self.page = page
        self.url = url

    def open(self, **query: object) -> Self:
        """Go there, with the query if one is given, and expect it to be served."""
        address = self.url + self.path + (f"?{urlencode(query)}" if query else "")
        answer = self.page.goto(address)
        assert answer is not None, f"{address} gave no answer"
        assert answer.ok, f"{address} answered {answer.status}"
        return self

    def figure(self, element_id: str) -> Locator:
        """Return the `<data>` element of that id; its `value` holds the full precision."""
        return self.page.locator(f"data#{element_id}")

    def value(self, element_id: str) -> float:
        """Return a figure in full precision."""
        return float(self.figure(element_id).get_attribute("value") or "nan")

    def expect_figure(self, element_id: str, shown: str) -> None:
        """Wait until the rounded figure reads so."""
        expect(self.figure(element_id)).to_have_text(shown)

    def fill(self, label: str, value: object) -> None:
        """Type into the field with that label."""
        self.page.get_by_label(label, exact=True).fill(str(value))

    def unfold(self, summary: str) -> None:
        """Open the fold with that summary, if it is shut."""
        fold = self.page.locator("details", has=self.page.get_by_text(summary, exact=True)).first
        if fold.get_attribute("open") is None:
            fold.locator("summary").first.tap()

    def press(self, label: str) -> None:
        """Tap the button or link with that name."""
        button = self.page.get_by_role("button", name=label, exact=True)
        button.or_(self.page.get_by_role("link", name=label, exact=True)).tap()

    @staticmethod
    def tap_twice(button: Locator) -> None:
        """Tap it, and once more before an answer can be there."""
        button.evaluate(TWO_TAPS)

    def slow_down(self, ms: int = 900) -> None:
        """Let the answers to what is asked without leaving the screen take so much longer."""
        self.page.evaluate(SLOW_ANSWERS, ms)

    def wait_for_answers(self) -> None:
        """After `slow_down`: wait until every answer is there and shown."""
        self.page.wait_for_function("() => window.unanswered === 0")

    def check_usable(self) -> None:
        """Fail on anything that keeps somebody from using this screen as it stands now."""
        a11y.check(self.page)

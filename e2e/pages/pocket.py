"""The page around the app where it runs in the phone's own browser."""

from __future__ import annotations

from playwright.sync_api import Page, expect

# The runtime starts in seconds on an idle machine; with the processors taken it takes minutes.
STARTING_AT_MOST_MS = 240_000


class Shell:
    """The page that stays open. Others of the app may be opened beside it: `app` is their address."""

    def __init__(self, page: Page, url: str) -> None:
        self.page, self.url, self.app = page, url, f"{url}app"

    def open(self, place: str = "") -> None:
        """Open the folder's address and wait until the app stands in it."""
        self.page.goto(f"{self.url}#{place}" if place else self.url)
        self.expect_app()

    def expect_app(self) -> None:
        expect(self.page.locator("#app")).to_be_visible(timeout=STARTING_AT_MOST_MS)

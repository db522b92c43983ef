"""Getting started: the Board's list of what is missing, and each form as a step of it."""

from __future__ import annotations

import re
from typing import Any

from playwright.sync_api import Locator, expect

from e2e.pages.base import Screen
from e2e.thumb import Thumb


class Start(Screen):
    """A step as a racer with one thumb walks it; every touch and field is counted."""

    path = "/"

    def __init__(self, thumb: Thumb, url: str) -> None:
        super().__init__(thumb.page, url)
        self.thumb = thumb

    def begin(self, label: str) -> None:
        """Tap the Board's large button, which names the first thing missing."""
        self.press(label)

    def at(self, title: str) -> None:
        """Expect this step's screen."""
        expect(self.page.get_by_role("heading", level=1)).to_have_text(title)
        expect(self.page.locator(".start-head")).to_be_visible()

    def type(self, label: str, text: Any) -> None:
        """Set the cursor in the field and type."""
        self.thumb.type(self.field(label), text)

    def field(self, label: str) -> Locator:
        """The field with that label, marked as optional or not."""
        return self.page.get_by_label(re.compile(rf"^{re.escape(label)}( optional)?$"))

    def choose(self, label: str, option: str) -> None:
        """Open a list and take one of it."""
        self.thumb.choose(self.page.get_by_label(label, exact=True), option)

    def tick(self, label: str) -> None:
        """Tap a tick or one of several large rows."""
        self.page.get_by_text(label, exact=True).tap()

    def save(self) -> None:
        """Tap Save, which is in sight however long the form is."""
        button = self.page.get_by_role("button", name="Save", exact=True)
        expect(button).to_be_in_viewport(ratio=1)
        button.tap()

    def go_past(self) -> None:
        """Go past this step."""
        self.press("Skip")

"""A thumb that is counted: what it touches on the pages of a browser, and the fields it types in."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Locator, Page

# A select's own list is drawn by the phone, which tells the page nothing of the touch in it.
TOUCHES_A_CHOICE = 2
WATCHING = """() => {
    addEventListener("pointerdown", (event) => {
        if (event.isTrusted) countedTouch(event.target.outerHTML?.slice(0, 120) ?? "");
    }, true);
    addEventListener("input", (event) => {
        const { target, isTrusted } = event;
        if (!isTrusted || target.matches("[type=radio], [type=checkbox], select")) return;
        countedField(`${location.pathname} ${target.form?.getAttribute("action") ?? ""} ${target.name}`);
    }, true);
}"""


class Thumb:
    """Touches as the pages see them, and fields in which a character was typed.

    A field that takes a tap to set the cursor counts as one touch and one field; a choice from a
    phone's own list as two touches.
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self.touched: list[str] = []
        self.typed_in: list[str] = []
        page.expose_function("countedTouch", lambda target: self.touched.append(target))
        page.expose_function("countedField", lambda name: self._field(name))
        page.add_init_script(f"({WATCHING})()")

    @property
    def taps(self) -> int:
        """Every touch so far."""
        return len(self.touched)

    @property
    def fields(self) -> int:
        """The fields in which a character was typed so far."""
        return len(self.typed_in)

    def _field(self, name: str) -> None:
        if name not in self.typed_in[-1:]:
            self.typed_in.append(name)

    def type(self, field: Locator, text: Any) -> None:
        """Set the cursor in a field and type; what stands in it already is no part of the walk."""
        assert field.input_value() == "", f"{field} holds {field.input_value()!r}"
        field.tap()
        self.page.keyboard.type(str(text))

    def choose(self, field: Locator, label: str) -> None:
        """Open a select and take one of its list."""
        self.touched += [f"select {label}"] * TOUCHES_A_CHOICE
        field.select_option(label=label)

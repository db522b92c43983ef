"""The Bench screens, and the weights and leads of the kit."""

from __future__ import annotations

from e2e.pages.base import Screen


class Bench(Screen):
    path = "/bench"


class CheckEntry(Screen):
    """The form of a check, wherever one was opened."""

    def enter(self, **readings: object) -> None:
        """Fill in readings by their field's name, and save."""
        for name, value in readings.items():
            self.page.locator(f"[name={name}]").fill(str(value))
        self.press("Save")


class Weights(Screen):
    path = "/kit/scales"

    def add_part(self, name: str, weight: str) -> None:
        self.page.get_by_label("Part", exact=True).fill(name)
        self.page.get_by_label("Weight", exact=True).fill(weight)
        self.press("Add the part")


class Leads(Screen):
    path = "/kit/leads"

    def add(self, name: str, kind: str, gauge: str, length: str) -> None:
        self.page.get_by_label("What", exact=True).fill(name)
        self.page.get_by_text(kind, exact=True).tap()
        self.page.get_by_label("Gauge, AWG").fill(gauge)
        self.page.get_by_label("Length of one").fill(length)
        self.press("Add")

"""The Kit screens."""

from __future__ import annotations

from e2e.pages.base import Screen


class Kit(Screen):
    path = "/kit"


class NewCar(Screen):
    path = "/kit/cars/new"

    def add(self, name: str, internal_ratio: str, pitch: str, tyre_mm: str) -> None:
        """Fill in the four numbers that gearing needs, and save."""
        self.page.get_by_label("Name", exact=True).fill(name)
        self.page.get_by_label("Internal ratio").fill(internal_ratio)
        self.page.get_by_label("Gear pitch").select_option(label=pitch)
        self.page.get_by_label("Tyre diameter").fill(tyre_mm)
        self.press("Save")


class GearBox(Screen):
    path = "/kit/gears"

    def add(self, kind: str, teeth: str) -> None:
        """Add pinions or spurs of the pitch that is offered first."""
        self.page.get_by_label(kind).fill(teeth)
        self.press("Add to the box")

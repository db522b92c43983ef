"""The screens of classes, meetings and heats."""

from __future__ import annotations

from playwright.sync_api import Locator, expect

from e2e.pages.base import Screen


class Meetings(Screen):
    path = "/meetings"


class NewMeeting(Screen):
    path = "/meetings/new"

    def enter(
        self, day: str, first: str, every_min: int, heats: int, marshal_after_min: int | None = None
    ) -> None:
        """Fill in the day and an even timetable, and save."""
        self.fill("Date", day)
        self.page.get_by_label("First at").fill(first)
        self.page.get_by_label("Then every").fill(str(every_min))
        self.page.get_by_label("How many").fill(str(heats))
        if marshal_after_min is not None:
            self.page.get_by_text("I marshal the heat after mine").tap()
            self.page.get_by_label("Marshalling begins").fill(str(marshal_after_min))
        self.press("Save")
        expect(self.page.locator(".undo-bar")).to_contain_text("Saved")


class MeetingPage(Screen):
    def entries(self) -> Locator:
        """The rows of the timetable."""
        return self.page.locator(".timetable .row b")


class HeatPage(Screen):
    def countdown(self) -> Locator:
        """The clock that runs down to this heat."""
        return self.page.locator("[data-starts-at]")


class NewClass(Screen):
    path = "/meetings/classes/new"

    def add(self, name: str, **limits: object) -> None:
        """Fill in the name and limits by their field's name, and save."""
        self.page.locator("[name=name]").fill(name)
        self.unfold("Timing, run length, tyres, further limits")
        for field, value in limits.items():
            self.page.locator(f"[name={field}]").fill(str(value))
        self.press("Save")
        expect(self.page.get_by_text(f"Saved {name}")).to_be_visible()

"""The Copies screen."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import expect

from e2e.pages.base import Screen


class Copies(Screen):
    path = "/copies"

    def make(self) -> str:
        """Make a copy; returns its name."""
        self.press("Make a copy now")
        said = self.page.get_by_text("Copied to")
        expect(said).to_be_visible()
        return said.inner_text().split()[-1]

    def take_away(self, target: Path) -> Path:
        """Make a copy and save it as that file."""
        name = self.make()
        with self.page.expect_download() as waiting:
            self.page.locator(f"a[href$='/{name}']").tap()
        waiting.value.save_as(target)
        return target

    def look_at(self, file: Path) -> None:
        """Choose a file and let it be checked."""
        self.page.locator("form[action$='/copies/uploaded'] input[type=file]").set_input_files(file)
        self.press("Check the file")

    def bring_back(self, file: Path) -> None:
        """Replace everything by what is in the file."""
        self.look_at(file)
        self.press("Bring this back")
        expect(self.page.get_by_text("Brought back. What was here")).to_be_visible()

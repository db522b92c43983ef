"""The screens of Import and export."""

from __future__ import annotations

from pathlib import Path

from e2e.pages.base import Screen


class InAndOut(Screen):
    path = "/exchange"

    def save(self, label: str, folder: Path) -> Path:
        """Tap something that is saved as a file, and return the file."""
        with self.page.expect_download() as waiting:
            self.page.get_by_role("link", name=label).first.tap()
        target = folder / waiting.value.suggested_filename
        waiting.value.save_as(target)
        return target

    def look_at_runs(self, file: Path) -> None:
        """Choose a sheet of runs and look at its lines."""
        self.page.locator("#runs-from input[type=file]").set_input_files(file)
        self.press("Check the sheet")

    def look_at_everything(self, file: Path) -> None:
        """Choose a file of everything and look at it."""
        self.page.get_by_text("Bring such a file back").tap()
        self.page.locator("form[action='/exchange/everything'] input[type=file]").set_input_files(
            file
        )
        self.press("Check the file")

"""The forms of In and out."""

from __future__ import annotations

from flask_wtf.file import FileField
from wtforms import HiddenField

from pitapp.web.forms import PitForm


class FileForm(PitForm):
    """A file to look at."""

    file = FileField("File")

    def content(self) -> bytes | None:
        """The bytes of the chosen file, or None with a sentence at the field."""
        if not self.validate_on_submit():
            return None
        chosen = self.file.data
        data = chosen.read() if chosen and chosen.filename else b""
        if not data:
            self.blame_file("Choose a file first." if not chosen else "This file is empty.")
            return None
        return bytes(data)

    def blame_file(self, sentence: str) -> None:
        """Put a sentence at the field."""
        self.file.errors = [*self.file.errors, sentence]


class TakeForm(PitForm):
    """The word to take a file that was looked at."""

    digest = HiddenField()

"""The forms of Import and export."""

from __future__ import annotations

from io import SEEK_END
from typing import BinaryIO, cast

from flask_wtf.file import FileField
from wtforms import HiddenField

from pitapp.web.forms.form_errors import PitForm


class FileForm(PitForm):
    """A file to look at."""

    file = FileField("File")

    def content(self) -> bytes | None:
        """The bytes of the chosen file, or None with a sentence at the field."""
        chosen = self.opened()
        return None if chosen is None else chosen.read()

    def opened(self) -> BinaryIO | None:
        """The chosen file, or None with a sentence at the field."""
        if not self.validate_on_submit():
            return None
        chosen = self.file.data
        if not chosen or not chosen.filename:
            self.blame_file("Choose a file first.")
        elif not chosen.stream.seek(0, SEEK_END):
            self.blame_file("This file is empty.")
        else:
            chosen.stream.seek(0)
            return cast(BinaryIO, chosen.stream)
        return None

    def blame_file(self, sentence: str) -> None:
        """Put a sentence at the field."""
        self.file.errors = [*self.file.errors, sentence]


class TakeForm(PitForm):
    """The word to take a file that was looked at."""

    digest = HiddenField()

"""The forms of the Copies screen."""

from __future__ import annotations

from flask_wtf.file import FileField, FileRequired

from pitapp.web.forms.form_errors import PitForm


class UploadForm(PitForm):
    """A copy to look into before it is brought back."""

    file = FileField("A copy from another device", [FileRequired("Choose the file first.")])


class PlainForm(PitForm):
    """A button: nothing to fill in but the token."""

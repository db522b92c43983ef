"""The form on which a device is paired."""

from __future__ import annotations

from wtforms import StringField

from pitapp.web.forms.form_errors import PitForm

MOST_NAME = 40


class PairForm(PitForm):
    """A code, and what to call the device."""

    code = StringField("Code")
    name = StringField("Name of this device")

    @property
    def digits(self) -> str:
        """The digits that were typed."""
        return "".join(sign for sign in (self.code.data or "")[:40] if sign in "0123456789")

    @property
    def called(self) -> str:
        """The device's name, on one line."""
        return " ".join((self.name.data or "").split())[:MOST_NAME] or "Phone"

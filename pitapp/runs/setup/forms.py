"""The forms of the set-up."""

from __future__ import annotations

from wtforms import HiddenField, StringField, TextAreaField

from pitapp.runs.formulas import SetupLine, parse_setup
from pitapp.web.forms.fields import Needed, NumberField
from pitapp.web.forms.form_errors import PitForm


class ListForm(PitForm):
    """Entries to add, one a line."""

    lines = TextAreaField(
        "Entries, one a line",
        [Needed("Write at least one entry.")],
        render_kw={"maxlength": 12_000, "rows": 8},
    )

    def written(self) -> list[SetupLine] | None:
        """What was typed, or None with the reason at the field."""
        if not self.validate_on_submit():
            return None
        try:
            return parse_setup(self.lines.data)
        except ValueError as error:
            self.lines.errors = [str(error)]
            return None


class ValueForm(PitForm):
    """A new value of one entry."""

    value = StringField("Value", render_kw={"maxlength": 60, "autocomplete": "off"})


class EntryForm(PitForm):
    """One entry as a whole."""

    version = HiddenField(default="1")
    name = StringField("Name", [Needed("Give the entry a name.")], render_kw={"maxlength": 60})
    group_name = StringField("Group", render_kw={"maxlength": 60, "list": "groups"})
    value = StringField("Value", render_kw={"maxlength": 60, "autocomplete": "off"})
    unit = StringField("Unit", render_kw={"maxlength": 20, "autocomplete": "off"})
    step_size = NumberField("Step of − and +")

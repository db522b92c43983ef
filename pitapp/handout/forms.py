"""The forms by which a link is looked at and taken."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from flask_wtf.file import FileField
from wtforms import HiddenField, SelectField, TextAreaField

from pitapp.errors import Refused
from pitapp.handout import link
from pitapp.handout.models import HandOut
from pitapp.handout.taking import Choice
from pitapp.web.clock import is_late
from pitapp.web.forms.form_errors import PitForm

CHOOSE = ("", "Choose")
NEW = (("add", "Add it"), ("leave", "Leave it"))
UNLIKE = (CHOOSE, ("change", "Change mine to this"), ("leave", "Keep mine as it is"))
UNLIKE_NAMED = (*UNLIKE, ("beside", "Add it beside mine"))
"""Of classes and tracks there may be two: the second gets a number behind its name."""
NAMED = ("race_class", "track")
PARTS = ("race_class", "track", "timetable", "setup")
SEEN = ("race_class", "track", "timetable")
"""Of these the page says what it saw; a set-up keeps what it had before."""


class LinkForm(PitForm):
    """A link that was pasted, or a small file that holds one."""

    link = TextAreaField("The link")
    file = FileField("A file that holds one")

    def read(self) -> HandOut | None:
        """What the link holds, or None with what is wrong at the field."""
        if not self.validate_on_submit():
            return None
        if self.file.data and not (self.link.data or "").strip():
            content = self.file.data.read(link.MOST_CHARACTERS + 1).decode("utf-8", "replace")
            return self._read(self.file, content)
        return self._read(self.link, self.link.data or "")

    def _read(self, field: TextAreaField | FileField, text: str) -> HandOut | None:
        try:
            return link.read(text)
        except Refused as error:
            field.errors = [str(error)]
            return None


class ChoiceForm(PitForm):
    """What is to be done with each part of a link."""

    link = HiddenField()
    race_class = SelectField("The class", validate_choice=False)
    track = SelectField("The track", validate_choice=False)
    timetable = SelectField("The timetable", validate_choice=False)
    setup = SelectField("The set-up", validate_choice=False)
    seen_race_class = HiddenField()
    seen_track = HiddenField()
    seen_timetable = HiddenField()

    def ask_about(self, holds: Iterable[str], here: set[str], same: set[str]) -> None:
        """Ask about each part that the link holds and is not here just so; `here` are those of its name."""
        asked = set(holds) - same
        for name in set(SEEN) - set(holds):
            delattr(self, f"seen_{name}")
        for name in PARTS:
            if name not in asked:
                delattr(self, name)
                continue
            field = self[name]
            unlike = UNLIKE_NAMED if name in NAMED else UNLIKE
            field.choices = list(unlike if name in here else NEW)
            if field.data is None:
                field.data = field.choices[0][0]

    @property
    def asked(self) -> list[str]:
        """The parts that it asks about."""
        return [name for name in PARTS if name in self]

    def show_seen(self, seen: Mapping[str, str]) -> None:
        """Say in the page what is here of each part as it is made."""
        for name in SEEN:
            if f"seen_{name}" in self:
                self[f"seen_{name}"].data = seen[name]

    def outdated(self, seen: Mapping[str, str]) -> int | None:
        """Status for a page that saw something else of what is to be written (409, 422), or None to go on.

        A page that does not say what it saw is on what is here now, unless it waited on a phone.
        """
        to_write = [name for name in SEEN if name in self and self[name].data != "leave"]
        sent = {name: self[f"seen_{name}"] for name in to_write}
        status = None
        if any(field.raw_data and field.data != seen[name] for name, field in sent.items()):
            status = 409
        elif is_late() and not all(field.raw_data for field in sent.values()):
            status = 422
        if status:
            self.form_errors.append(
                "This was changed on another screen since you opened it. Compare, then take it again."
            )
        return status

    def chosen(self) -> dict[str, Choice] | None:
        """What was chosen for each part asked about, or None with what is wrong at the field."""
        if not self.validate_on_submit():
            return None
        asked = [self[name] for name in self.asked]
        for field in asked:
            if not field.data or field.data not in dict(field.choices):
                field.errors = ["Choose what becomes of it."]
        return None if self.errors else {field.name: field.data for field in asked}

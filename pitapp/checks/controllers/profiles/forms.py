"""The form of a profile."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from wtforms import HiddenField, SelectField, StringField

from pitapp.checks.models import Profile
from pitapp.meetings.models import RaceClass
from pitapp.web.forms.form_errors import PitForm


class ProfileForm(PitForm):
    """A profile of a controller; `like` is for a new one: whose plan it begins with."""

    version = HiddenField(default="1")
    name = StringField("Name", render_kw={"maxlength": 40, "autocomplete": "off"})
    race_class_id = SelectField("Goes with the class", default="")
    like = SelectField("Begins with the plan of", default="0")

    def set_choices(self, classes: Iterable[RaceClass], profiles: Iterable[Profile]) -> None:
        """Offer the classes, and the profiles whose plan may be taken over."""
        named = [(str(each.id), each.name) for each in classes]
        self.race_class_id.choices = [("", "none, it is chosen by hand"), *named]
        self.like.choices = [
            *((str(each.id), each.title) for each in profiles),
            ("", "none, it is empty"),
        ]

    def profile(self, **more: Any) -> Profile | None:
        """The profile, or None with the errors at the fields."""
        said = self.race_class_id.data or ""
        return self.fill(Profile, race_class_id=int(said) if said.isdecimal() else None, **more)

"""The forms of points tables, seasons and a meeting's result."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from flask import request
from wtforms import BooleanField, HiddenField, RadioField, SelectField, StringField, TextAreaField

from pitapp.meetings.results.formulas import parse_points
from pitapp.meetings.results.models import MeetingResult, PointTable, Season
from pitapp.web.forms.fields import Needed, NumberField, WholeField
from pitapp.web.forms.form_errors import PitForm

TIES = {
    "full": "the points of that place, each",
    "mean": "an equal share of the places they fill",
    "last": "the points of the last place they fill",
}


def _name(asked: str) -> StringField:
    return StringField("Name", [Needed(asked)], render_kw={"maxlength": 60, "autocomplete": "off"})


def _chosen(field: Any, earlier: int | None = None) -> int | None:
    """What was chosen; what was there before where the post does not say."""
    if field.name not in request.form:
        return earlier
    text = field.data or ""
    return int(text) if text.isdecimal() else None


def _set_choices(field: Any, items: Iterable[Any], none: str) -> None:
    field.choices = {"": none} | {str(each.id): each.name for each in items}


class PointTableForm(PitForm):
    """What each place is worth."""

    version = HiddenField(default="1")
    name = _name("What are these points called?")
    listed = TextAreaField(
        "Points from first place on",
        [Needed("Write the points like 10 8 6 5 4.")],
        render_kw={"maxlength": 2000, "rows": 2, "inputmode": "text"},
    )
    beyond = NumberField("Every place after that")
    ties = RadioField("Who share a place get", choices=TIES, default="full")
    fewest_wins = BooleanField("The fewest points win")

    def record(self, table_id: int) -> PointTable | None:
        """The table that was typed, or None with the reasons at the fields."""
        try:
            points = parse_points(self.listed.data or "")
        except ValueError as error:
            self.validate_on_submit()
            self.listed.errors = [str(error)]
            return None
        made = self.fill(PointTable, id=table_id, points=points)
        if made is None and not any(field.errors for field in self):
            self.listed.errors = self.form_errors[:1]
        return made


class SeasonForm(PitForm):
    """A season of rounds."""

    version = HiddenField(default="1")
    name = _name("What is the season called?")
    point_table_id = SelectField("Points for a round", default="")
    drops = WholeField("Drop scores")
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

    def set_choices(self, tables: Iterable[PointTable]) -> None:
        """Offer these points tables."""
        _set_choices(self.point_table_id, tables, "none")

    def record(self, earlier: Season | None) -> Season | None:
        """The season that was typed, or None with the reasons at the fields."""
        before = earlier.point_table_id if earlier else None
        return self.fill(
            Season,
            id=earlier.id if earlier else 0,
            point_table_id=_chosen(self.point_table_id, before),
        )


class ResultForm(PitForm):
    """What came of a meeting."""

    version = HiddenField(default="1")
    point_table_id = SelectField("Points for a heat", default="")
    best_heats = WholeField("Heats that count")
    qualifying_place = WholeField("Place in qualifying")
    final_name = StringField("Final", render_kw={"maxlength": 20, "autocomplete": "off"})
    place = WholeField("Place overall")
    shared_with = WholeField("Tied with (others)")
    season_id = SelectField("Season", default="")

    def set_choices(self, tables: Iterable[PointTable], seasons: Iterable[Season]) -> None:
        """Offer these points tables and seasons."""
        _set_choices(self.point_table_id, tables, "none")
        _set_choices(self.season_id, seasons, "none")

    def record(self, earlier: MeetingResult) -> MeetingResult | None:
        """The result that was typed, or None with the reasons at the fields."""
        return self.fill(
            MeetingResult,
            id=earlier.id,
            meeting_id=earlier.meeting_id,
            point_table_id=_chosen(self.point_table_id, earlier.point_table_id),
            season_id=_chosen(self.season_id, earlier.season_id),
        )

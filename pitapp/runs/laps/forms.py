"""The forms of laps: pasted to be looked at, taken as understood, and saved from the lap clock."""

from __future__ import annotations

from wtforms import HiddenField, TextAreaField, ValidationError

from pitapp.runs.fields import IdField
from pitapp.runs.formulas import parse_time_s, unpacked_laps
from pitapp.runs.laps.formulas import LONGEST_S, MOST_LAPS, SHORTEST_S
from pitapp.web.forms.fields import Needed
from pitapp.web.forms.form_errors import PitForm

_NONE = "Write at least one lap, such as 14.87."
_AREA = {"rows": 8, "autocomplete": "off", "spellcheck": "false"}


class PasteForm(PitForm):
    """A list of laps in any layout."""

    times = TextAreaField("Laps", validators=[Needed(_NONE)], render_kw=_AREA)


class TakeForm(PitForm):
    """The laps as they were understood, and the column that they replace."""

    laps = HiddenField()
    earlier = HiddenField()

    def validate_laps(self, field: HiddenField) -> None:
        """Refuse what is no column of laps."""
        try:
            unpacked_laps(field.data or "")
        except ValueError as error:
            raise ValidationError(str(error)) from None


class ClockForm(PitForm):
    """Clocked or typed laps, a time a line, and the run that they belong to."""

    run_id = IdField("Run")
    times = TextAreaField("Laps, a time a line", validators=[Needed(_NONE)], render_kw=_AREA)

    def laps_s(self) -> list[float]:
        """The laps in s; where a line is none, nothing, and the reason at the field."""
        lines = [line.strip() for line in (self.times.data or "").splitlines() if line.strip()]
        reason = "" if lines else _NONE
        if len(lines) > MOST_LAPS:
            reason = f"A run holds at most {MOST_LAPS} laps."
        laps = []
        for number, line in enumerate(lines[:MOST_LAPS], 1):
            try:
                laps.append(parse_time_s(line[:60]))
            except ValueError as error:
                reason = reason or f"Line {number}: {error}"
            else:
                if not SHORTEST_S <= laps[-1] <= LONGEST_S:
                    reason = reason or f"Line {number}: A lap takes 0.1 s to an hour."
        if reason:
            self.times.errors = [reason]
        return [] if reason else laps

"""The form of a step in a run-through."""

from __future__ import annotations

from collections.abc import Iterable

from wtforms import HiddenField, StringField, TextAreaField

from pitapp.checks.controllers.profiles.formulas import OtherPlan, looks_like, profile_question
from pitapp.checks.engine import is_reason, same
from pitapp.checks.models import Step
from pitapp.checks.reading_text import display_unit, range_doubt, to_stored
from pitapp.web.forms.form_errors import PitForm

OUTSIDE = "It is outside the class. Set it and read again, or say why it stays."
NO_REASON = "Say why, in two words or more. It is kept with the reading."
TYPED_TOO = "You typed another reading above. Save that, or clear it."


class AnswerForm(PitForm):
    """An answer to a step: as expected, another reading, skipped, or a reason to keep one outside the limit."""

    doubted = False
    """Whether the reading is asked about, and taken if it is sent again with `sure`."""
    expected = HiddenField()
    known = HiddenField()
    """The ids of the steps that the page took as answered for this heat, as the run-through begins."""
    shown = StringField("It shows")
    reason = TextAreaField("Why keep it", render_kw={"maxlength": 300, "rows": 2})

    @classmethod
    def of(cls, step: Step) -> AnswerForm:
        """The form for this step, with its own keypad and unit."""
        form = cls()
        form.shown.keypad = "decimal" if step.kind == "number" else "text"
        form.shown.most_characters = 40 if step.kind == "number" else 200
        form.shown.unit_symbol = display_unit(step.unit)
        return form

    def stored_reading(self, step: Step, *, as_expected: bool) -> str | None:
        """The reading as it is stored, or None with the error at the field."""
        text = self.shown.data or ""
        try:
            if not as_expected:
                return to_stored(step, text)
            if text.strip() and to_stored(step, text) != self.expected.data:
                raise ValueError(TYPED_TOO)
            return to_stored(step.model_copy(update={"unit": ""}), self.expected.data or "")
        except ValueError as error:
            self.shown.errors = [str(error)]
            return None

    def ask_about(
        self, step: Step, value: str, known: Iterable[str], others: Iterable[OtherPlan] = ()
    ) -> None:
        """Put the question at the field if the reading is outside its range, or another profile's.

        Args:
            step: where it was read.
            value: as it is stored.
            known: readings that are not asked about: the plan, and what it showed last time.
            others: what the controller's other profiles plan.
        """
        readings = list(known)
        question = range_doubt(step, value, readings)
        if not question and not any(same(value, each) for each in readings if each):
            profile = looks_like(step, value, others)
            question = profile_question(profile) if profile else ""
        if question:
            self.shown.errors, self.doubted = [question], True

    def why(self) -> str | None:
        """The reason given, or None with the error at the field."""
        reason = " ".join((self.reason.data or "").split())
        if len(reason) <= 300 and is_reason(reason):
            return reason
        self.reason.errors = [
            NO_REASON if len(reason) <= 300 else "Keep this under 300 characters."
        ]
        return None

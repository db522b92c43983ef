"""The forms of checklists and their steps."""

from __future__ import annotations

from typing import Any

from wtforms import (
    BooleanField,
    HiddenField,
    RadioField,
    SelectField,
    StringField,
    TextAreaField,
)

from pitapp.checks.models import KIND_NAMES, OCCASION_NAMES, TOPICS, Step
from pitapp.checks.reading_text import display_unit, field_text, to_stored
from pitapp.web.forms.fields import Needed, NumberField, WholeField
from pitapp.web.forms.form_errors import PitForm

SHORT = {"maxlength": 60, "autocomplete": "off"}
SENTENCE = {"maxlength": 300, "rows": 2}


class ChecklistForm(PitForm):
    """A checklist."""

    version = HiddenField(default="1")
    name = StringField("Name", [Needed("Give the list a name.")], render_kw=SHORT)
    occasion = SelectField(
        "When",
        choices={key: name for key, name in OCCASION_NAMES.items() if key != "settings"},
        default="other",
    )


class StepForm(PitForm):
    """A step of a checklist."""

    version = HiddenField(default="1")
    name = StringField("Name", [Needed("Give the step a name.")], render_kw=SHORT)
    planned = StringField("Planned", render_kw={"maxlength": 200, "autocomplete": "off"})
    kind = RadioField("What is it?", choices=KIND_NAMES, default="do")
    unit = StringField("Unit", render_kw={"maxlength": 20, "autocomplete": "off"})
    step_size = NumberField("Step of − and +")
    choices = TextAreaField("Choices, one per line", render_kw={"maxlength": 1000, "rows": 3})
    group_name = StringField("Group", render_kw={"maxlength": 40, "autocomplete": "off"})
    why = TextAreaField("Why it matters", render_kw=SENTENCE)
    goes_wrong = TextAreaField("Common mistake", render_kw=SENTENCE)
    caution = TextAreaField("Caution", render_kw=SENTENCE)
    required = BooleanField("Cannot be skipped")
    wait_s = WholeField("Wait", unit="s")
    topic = SelectField(
        "Class limit or log field it belongs to",
        choices={"": "none, or one with the same name"}
        | {key: t.name for key, t in TOPICS.items()},
        default="",
    )

    @classmethod
    def of(cls, item: Step) -> StepForm:
        """The form with a step as it is now."""
        values = item.model_dump() | {
            "choices": "\n".join(item.choices),
            "planned": field_text(item.planned, item.unit),
        }
        form = cls(data=values)
        form.planned.unit_symbol = display_unit(item.unit)
        return form

    def step(self, **more: Any) -> Step | None:
        """The step, or None with the errors at the fields."""
        topic = TOPICS.get(self.topic.data or "")
        fixed = {
            "choices": [
                line.strip() for line in (self.choices.data or "").splitlines() if line.strip()
            ],
            "step_size": self.step_size.data,
            "wait_s": self.wait_s.data,
            "planned": "",
        }
        if topic and topic.unit:
            fixed |= {"unit": topic.unit, "kind": "number"}
        item = self.fill(Step, **(fixed | more))
        if item is None or not (self.planned.data or "").strip() or item.kind == "do":
            return item
        try:
            return item.model_copy(update={"planned": to_stored(item, self.planned.data or "")})
        except ValueError as error:
            self.planned.errors = [str(error)]
            return None

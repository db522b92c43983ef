"""The forms of checklists and their steps."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError
from wtforms import (
    BooleanField,
    HiddenField,
    RadioField,
    SelectField,
    StringField,
    TextAreaField,
)

from pitapp.checks.models import KIND_NAMES, OCCASION_NAMES, TOPICS, Step
from pitapp.checks.reading_text import display_unit, field_text, range_doubt, to_stored
from pitapp.web.forms.fields import Needed, NumberField, WholeField
from pitapp.web.forms.form_errors import PitForm

SHORT = {"maxlength": 60, "autocomplete": "off"}
RANGE = ("range_least", "range_most")
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
    """A step of a checklist; `sure` is asked for where the plan is outside the range."""

    doubted = False
    version = HiddenField(default="1")
    name = StringField("Name", [Needed("Give the step a name.")], render_kw=SHORT)
    planned = StringField("Planned", render_kw={"maxlength": 200, "autocomplete": "off"})
    sure = BooleanField("It is right as it stands")
    maker_default = StringField(
        "Maker's default", render_kw={"maxlength": 200, "autocomplete": "off"}
    )
    range_least = StringField("Lowest", render_kw={"maxlength": 40, "autocomplete": "off"})
    range_most = StringField("Highest", render_kw={"maxlength": 40, "autocomplete": "off"})
    kind = RadioField("What is it?", choices=KIND_NAMES, default="do")
    unit = StringField("Unit", render_kw={"maxlength": 20, "autocomplete": "off"})
    step_size = NumberField("Step of − and +")
    choices = TextAreaField("Choices, one per line", render_kw={"maxlength": 1000, "rows": 3})
    group_name = StringField("Group", render_kw={"maxlength": 40, "autocomplete": "off"})
    why = TextAreaField("Why it matters", render_kw=SENTENCE)
    goes_wrong = TextAreaField("Common mistake", render_kw=SENTENCE)
    caution = TextAreaField("Caution", render_kw=SENTENCE)
    required = BooleanField("Needed to race: while it is skipped, the car is not ready")
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
            "maker_default": field_text(item.maker_default, item.unit),
            **{
                name: field_text(repr(value), item.unit) if value is not None else ""
                for name, value in (
                    ("range_least", item.range_least),
                    ("range_most", item.range_most),
                )
            },
        }
        form = cls(data=values)
        for field in (form.planned, form.maker_default, form.range_least, form.range_most):
            field.unit_symbol = display_unit(item.unit)
        return form

    def step(self, earlier: Step | None = None, **more: Any) -> Step | None:
        """The step, or None with the errors at the fields.

        Args:
            earlier: as it stands; a plan that is left as it was is not asked about again.
            more: what no field of the form says.
        """
        topic = TOPICS.get(self.topic.data or "")
        fixed = {
            "choices": [
                line.strip() for line in (self.choices.data or "").splitlines() if line.strip()
            ],
            "step_size": self.step_size.data,
            "wait_s": self.wait_s.data,
            "planned": "",
            "maker_default": "",
            "range_least": None,
            "range_most": None,
        }
        if topic and topic.unit:
            fixed |= {"unit": topic.unit, "kind": "number"}
        item = self.fill(Step, **(fixed | more))
        if item is None or item.kind == "do":
            return item
        item = self._with_readings(item)
        if item is None or self.sure.data:
            return item
        known = (earlier.planned,) if earlier else ()
        if question := range_doubt(item, item.planned, known):
            self.planned.errors, self.doubted = [question], True
            return None
        return item

    def _with_readings(self, item: Step) -> Step | None:
        read: dict[str, Any] = {}
        for name in ("planned", "maker_default", "range_least", "range_most"):
            field, text = self[name], self[name].data or ""
            if not text.strip() or (name.startswith("range") and item.kind != "number"):
                continue
            try:
                stored = to_stored(item, text)
                read[name] = float(stored) if name.startswith("range") else stored
            except ValueError as error:
                field.errors = ["Write a number here." if "float" in str(error) else str(error)]
        if any(self[name].errors for name in ("planned", "maker_default", *RANGE)):
            return None
        try:
            return Step.model_validate(item.model_dump() | read)
        except ValidationError:
            self.range_least.errors = ["The lowest is above the highest."]
            return None

"""The plan of a whole list on one form: a field for each step that something can be planned for."""

from __future__ import annotations

from collections.abc import Mapping

from pitapp.checks.models import Step
from pitapp.checks.reading_text import display_unit, field_text, range_doubt, to_stored
from pitapp.web.forms.form_errors import PitForm


class PlanForm(PitForm):
    """Carries the token; the fields are `PlanField`."""


class PlanField:
    """What is planned at a step, as it stands in its field and as it is stored."""

    def __init__(
        self, step: Step, sent: Mapping[str, str] | None = None, name: str | None = None
    ) -> None:
        self.step = step
        self.name = name or f"planned-{step.id}"
        self.unit = display_unit(step.unit)
        self.sure_name = f"sure-{self.name}"
        self.doubted = False
        self.errors: list[str] = []
        self.value = step.planned
        self.text = field_text(step.planned, step.unit)
        if sent is not None and self.name in sent and self.offered:
            self.text = sent[self.name]
            self._read()
            if not self.errors and self.sure_name not in sent:
                self._ask_about()

    @property
    def offered(self) -> bool:
        """Whether anything can be planned here."""
        return self.step.kind != "do"

    def _ask_about(self) -> None:
        if question := range_doubt(self.step, self.value, (self.step.planned,)):
            self.errors, self.doubted = [question], True

    def _read(self) -> None:
        self.value = ""
        if self.text.strip():
            try:
                self.value = to_stored(self.step, self.text)
            except ValueError as error:
                self.errors = [str(error)]

"""What the day's plan is made with."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import ValidationError
from wtforms import BooleanField, HiddenField, RadioField, SelectMultipleField, StringField
from wtforms.widgets import CheckboxInput, ListWidget

from pitapp.packs.health.state import PackState
from pitapp.packs.models import ChargerRecord, PlanRecord
from pitapp.web.forms.fields import Needed, NumberField, WholeField
from pitapp.web.forms.form_errors import PitForm

WATCHED = "Who watches the chargers while you drive or marshal?"
WATCHERS = {"yes": "Somebody does", "no": "Nobody"}
SAY_WHO = "Say who watches: somebody, or nobody."


class ChargerFields(PitForm):
    """A charger, as its label says."""

    name = StringField(
        "Charger",
        [Needed("Give the charger a name.")],
        default="My charger",
        render_kw={"maxlength": 60, "autocomplete": "off"},
    )
    outputs = WholeField("Outputs", [Needed("How many packs at a time?")], default=1)
    amps_per_output = NumberField("Amps at most, each output", [Needed("See its label.")], unit="A")
    watts_per_output = NumberField(
        "Watts at most, each output", [Needed("See its label.")], unit="W"
    )
    amps_in_all = NumberField("Amps at most, all outputs", unit="A")
    watts_in_all = NumberField("Watts at most, all outputs", unit="W")
    discharge_a = NumberField("Discharges at", [Needed("See its label.")], unit="A", default=1.0)


class ChargerForm(ChargerFields):
    """One charger of several."""

    version = HiddenField(default="1")
    at_home = BooleanField("It stays at home")


class PlanForm(ChargerFields):
    """The first charger, what a run takes, the racer's limits, and the packs that are along."""

    used_mah = NumberField("A run takes about", [Needed("How much does a run take?")], unit="mAh")
    most_full_min = NumberField("Full at most", [Needed("How long?")], unit="min")
    cooling_min = NumberField("Cooling after a run", [Needed("How long?")], unit="min")
    margin_min = NumberField("Off the charger before the start", unit="min")
    watched = RadioField(WATCHED, choices=WATCHERS, validate_choice=False)
    walk_min = NumberField("Away before and after a run", unit="min")
    along = SelectMultipleField(
        "Packs you have with you",
        coerce=int,
        widget=ListWidget(prefix_label=False),
        option_widget=CheckboxInput(),
    )

    def set_choices(self, states: Sequence[PackState]) -> None:
        """Offer the packs that may be charged."""
        self.along.choices = {each.pack.id: each.pack.mark for each in states}

    def records(
        self, plan: PlanRecord, own: ChargerRecord | None
    ) -> tuple[PlanRecord, ChargerRecord] | None:
        """The plan's figures and the charger as typed, or None with the errors at the fields."""
        more = {"id": own.id, "at_home": own.at_home} if own else {}
        charger = self.fill(ChargerRecord, **more)
        watched = self.watched_answer(plan)
        if charger is None or watched is None:
            return None
        taken = self.along.data or ()
        left_out = tuple(value for value in self.along.choices if value not in taken)
        figures = {name: self[name].data for name in ("used_mah", "most_full_min", "cooling_min")}
        for name in ("margin_min", "walk_min"):
            if self[name].data is not None:
                figures[name] = self[name].data
        if figures.get("margin_min", plan.margin_min) > figures["most_full_min"]:
            sentence = "That is shorter than the time off the charger before the start."
            self.most_full_min.errors = [sentence]
            return None
        try:
            record = PlanRecord(
                **(dict(plan) | figures | {"left_out": left_out, "watched": watched})
            )
        except ValidationError as error:
            self.add_errors(error)
            return None
        return record, charger

    def watched_answer(self, plan: PlanRecord) -> bool | None:
        """Whether somebody watches: as answered, else as before; None with the error at the field."""
        if self.watched.data in WATCHERS:
            return bool(self.watched.data == "yes")
        if plan.watched is None:
            self.watched.errors = [SAY_WHO]
        return plan.watched

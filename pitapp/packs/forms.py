"""The forms of the packs."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError
from wtforms import (
    BooleanField,
    HiddenField,
    RadioField,
    StringField,
    TextAreaField,
)
from wtforms.validators import NumberRange, Optional

from pitapp.packs.cell import MODEL_CELL_OHM_AH
from pitapp.packs.fields import CellsField
from pitapp.packs.models import Pack, Reading
from pitapp.packs.sums import ChargeSums, LabelSums, charge_sums, label_sums
from pitapp.web.forms.datetime_field import DayField
from pitapp.web.forms.fields import Needed, NumberField, QuantityField, WholeField
from pitapp.web.forms.form_errors import PitForm

LINE = {"maxlength": 60, "autocomplete": "off"}
TEXT = {"maxlength": 2000}
PER_OHM = 1000.0
CHARGES_NOW = {
    "storage": "At storage charge, as delivered",
    "unknown": "Not known: plan it as empty",
}
CELL_MOHM = "A cell has between 0.01 and 5000 mΩ."


class PackForm(PitForm):
    """A pack, as its label says."""

    version = HiddenField(default="1")
    mark = StringField(
        "Name on the pack",
        [Needed("Write the name on the pack, such as A or 3.")],
        render_kw={**LINE, "maxlength": 40},
    )
    cells_series = WholeField("Cells in series", [Needed("How many cells are in series?")])
    cells_parallel = WholeField("Cells in parallel")
    capacity_mah = NumberField("Capacity", [Needed("What capacity is on the label?")], unit="mAh")
    most_charge_c = NumberField("Maximum charge rate", unit="C")
    nominal_v = NumberField("Nominal voltage", unit="V")
    resistance_new = NumberField(
        "Resistance of a cell when new", [Optional(), NumberRange(0.01, 5000, CELL_MOHM)], unit="mΩ"
    )
    bought_on = DayField("Bought")
    mass_g = QuantityField("Weight", kind="mass")
    cycles_before = WholeField("Cycles before you logged them here")
    remarks = TextAreaField("Remarks", render_kw=TEXT)
    charge_now = RadioField("How full is it now?", choices=CHARGES_NOW, validate_choice=False)

    @property
    def at_storage(self) -> bool:
        """Whether a new pack is said to be at storage charge; not asked, nothing is known."""
        return bool(self.charge_now.data == "storage")

    def record(self, item: Pack | None) -> Pack | None:
        """The pack as typed, with the condition that it has."""
        more: dict[str, Any] = {"id": item.id if item else 0}
        if item:
            more |= {name: getattr(item, name) for name in ("damaged", "damage", "retired_at")}
        resistance = self.resistance_new.data
        if resistance is not None:
            more["resistance_new_ohm"] = resistance / PER_OHM
        return self.fill(Pack, **more)


class ConditionForm(PitForm):
    """Whether a pack is sound, retired or damaged."""

    condition = RadioField(
        "This pack is",
        choices={
            "sound": "Good",
            "damaged": "Damaged: swollen, dented, cut or torn",
            "retired": "Retired",
        },
    )
    damage = StringField("What you see", render_kw={**LINE, "maxlength": 200})

    def accepts(self, item: Pack) -> bool:
        """Whether the form is right; a damaged pack becomes sound only with words that say why."""
        if not self.validate_on_submit():
            return False
        back = item.condition == "damaged" and self.condition.data == "sound"
        if back and len((self.damage.data or "").split()) < 2:
            self.damage.errors = ["Say in a few words why it is good after all."]
            return False
        return True


class ReadingForm(PitForm):
    """What a meter shows of a resting pack."""

    cell_v = CellsField("Resting voltage", unit="V")
    cell_mohm = CellsField("Resistance", unit="mΩ", scale=PER_OHM)
    cell_c = QuantityField("Cell temperature", kind="temperature")
    after_charge = BooleanField("Just off a balanced charge")
    remarks = TextAreaField("Remarks", render_kw=TEXT)

    def ask_for(self, cells: int) -> None:
        """Show one entry for each of the pack's cells."""
        self.cell_v.ask_for(cells)
        self.cell_mohm.ask_for(cells)

    def record(self, item: Pack, now: Any) -> Reading | None:
        """The reading as typed."""
        if not self.validate_on_submit():
            return None
        values: dict[str, Any] = {
            "cell_v": self.cell_v.values,
            "cell_ohm": self.cell_mohm.values,
            "cell_c": self.cell_c.data,
            "after_charge": self.after_charge.data,
            "remarks": self.remarks.data or "",
        }
        try:
            return Reading(pack_id=item.id, read_at=now, **values)
        except ValidationError as error:
            for finding in error.errors():
                about = finding["loc"][0] if finding["loc"] else ""
                if about == "cell_ohm":
                    self.cell_mohm.errors = [CELL_MOHM]
                elif about == "cell_v":
                    self.cell_v.errors = ["A cell rests between 0 and 5 V."]
            if not (self.cell_mohm.errors or self.cell_v.errors):
                self.add_errors(error)
            return None


class StorageForm(PitForm):
    """A pack put away."""

    cell_v = NumberField("Resting voltage of a cell", unit="V")
    place = StringField("Where you keep it", render_kw=LINE)


class SumsForm(PitForm):
    """What the sums are made from; a question that changes nothing."""

    class Meta:
        csrf = False

    cells = WholeField("Cells in series", [Needed("How many cells?")], default=2)
    capacity = NumberField("Capacity", [Needed("What capacity?")], unit="mAh")
    rate = NumberField(
        "Charge rate", [Needed("What rate? 1 unless the label allows more.")], unit="C"
    )
    cell_v = NumberField("Resting voltage of a cell", unit="V")
    resistance = NumberField("Resistance of a cell", unit="mΩ")
    discharge = NumberField("Charger's discharge", unit="A", default=1.0)

    def answer(self) -> tuple[LabelSums | None, ChargeSums | None]:
        """The sums that the typed figures allow; an impossible figure is an error of the form."""
        if self.capacity.data is None and not self.capacity.errors:
            return None, None
        if not self.validate():
            return None, None
        capacity, cells = self.capacity.data, self.cells.data
        typed_ohm = (self.resistance.data or 0) / PER_OHM
        try:
            label = label_sums(cells, capacity, self.rate.data)
            if self.cell_v.data is None:
                return label, None
            ohm = typed_ohm or MODEL_CELL_OHM_AH / (capacity / 1000)
            discharge = self.discharge.data or 1.0
            return label, charge_sums(capacity, label.most_a, ohm, self.cell_v.data, discharge)
        except ValueError as error:
            self.form_errors.append(str(error))
            return None, None

"""The forms of the parked car."""

from __future__ import annotations

from wtforms import HiddenField
from wtforms.validators import ValidationError

from pitapp.roll.formulas import tilt_angle_deg
from pitapp.roll.models import STEEPEST_DEG
from pitapp.web.forms.fields import Needed, NumberField, QuantityField
from pitapp.web.forms.form_errors import PitForm


class ParkingForm(PitForm):
    """How the car stands; its buttons nudge."""

    slope_deg = NumberField("Slope", [Needed("How steep is it?")], unit="°")
    drag_brake_percent = NumberField("Drag brake", [Needed("How much?")], unit="%")

    def nudge(self, button: str) -> None:
        """Move a figure by one step, within its limits."""
        name, _, way = button.rpartition("-")
        steps = {"slope_deg": (0.5, STEEPEST_DEG), "drag_brake_percent": (5.0, 100.0)}
        field = self._fields.get(name)
        if name not in steps or field is None or field.data is None:
            return
        step, most = steps[name]
        moved = field.data + (step if way == "more" else -step)
        field.data = max(0.0, min(most, moved))
        field.typed = None


class TiltForm(PitForm):
    """A tilt test: the angle, or the two lengths that give it."""

    angle_deg = NumberField("Angle", unit="°")
    rise_mm = NumberField("Raised end above the other", unit="mm")
    board_mm = NumberField("Length of the board", unit="mm")
    mass_g = QuantityField("Car's weight", [Needed("How heavy is the car?")], kind="mass")
    read_by = HiddenField(
        default="typed", filters=[lambda source: source if source == "sensor" else "typed"]
    )

    def validate_angle_deg(self, field: NumberField) -> None:
        """An angle, else both lengths."""
        if field.data is not None or field.errors:
            return
        if self.rise_mm.data is None or self.board_mm.data is None:
            raise ValidationError("Write the angle, or both lengths below.")
        try:
            field.data = tilt_angle_deg(self.rise_mm.data, self.board_mm.data)
        except ValueError as error:
            raise ValidationError(str(error)) from None

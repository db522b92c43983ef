"""The form of a motor check."""

from __future__ import annotations

from typing import Any

from wtforms import BooleanField, HiddenField, TextAreaField

from pitapp.web.fields import Needed, NumberField, QuantityField
from pitapp.web.forms import PitForm
from pitapp.web.moments import MomentField


class MilliohmField(NumberField):
    """A resistance, typed and shown in mΩ and in Ω inside."""

    def __init__(self, label: str | None = None, validators: Any = None, **options: Any) -> None:
        super().__init__(label, validators, unit="mΩ", **options)

    def to_shown(self, value: float) -> float:
        """The resistance in mΩ, without the noise of converting."""
        return float(f"{value * 1000:.8g}")

    def to_metric(self, value: float) -> float:
        """What was typed, in Ω."""
        if not 0.1 <= value <= 100_000:
            raise ValueError("A motor has 0.1 to 100 000 mΩ. A lone 0.02 is in Ω: write 20.")
        return value / 1000


class CheckForm(PitForm):
    """The readings of one check."""

    version = HiddenField(default="1")
    volts = NumberField("Voltage", unit="V")
    free_rpm = NumberField("Free speed", unit="rpm")
    current_a = NumberField("Current", unit="A")
    can_c = QuantityField("Can", kind="temperature")
    sensor_a_deg = NumberField("Sensor A")
    sensor_b_deg = NumberField("Sensor B")
    sensor_c_deg = NumberField("Sensor C")
    resistance_ohm = MilliohmField("Resistance")
    mass_g = QuantityField("Weight", kind="mass")
    as_new = BooleanField("The rotor is new: compare later checks with this one")
    checked_at = MomentField("Measured at", [Needed("When was it measured?")])
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

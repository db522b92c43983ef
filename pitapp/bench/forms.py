"""The form of a motor check."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from wtforms import BooleanField, Field, HiddenField, TextAreaField
from wtforms.widgets import DateTimeLocalInput

from pitapp.web.clock import home_zone
from pitapp.web.fields import Needed, NumberField, QuantityField
from pitapp.web.forms import PitForm


class MomentField(Field):
    """A moment on the racer's wall clock; `data` carries its time zone."""

    widget: Any = DateTimeLocalInput()
    data: Any

    def __init__(self, label: str | None = None, validators: Any = None, **options: Any) -> None:
        super().__init__(label, validators, **options)
        self.typed: str | None = None

    def _value(self) -> str:
        if self.typed is not None:
            return self.typed
        return f"{self.data.astimezone(home_zone()):%Y-%m-%dT%H:%M}" if self.data else ""

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what the phone's picker or a typing hand gives."""
        if not valuelist:
            return
        self.typed, self.data = valuelist[0], None
        if not self.typed.strip():
            return
        try:
            wall = datetime.fromisoformat(self.typed.strip())
            moment = wall.replace(tzinfo=home_zone()) if wall.tzinfo is None else wall
            moment.astimezone(home_zone())
        except (ValueError, OverflowError):
            raise ValueError("Write a day and a time, such as 2026-05-03 18:30.") from None
        if not 2000 <= moment.year <= 2200:
            raise ValueError("That is not a year of this log.")
        self.data = moment


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
    as_new = BooleanField("The rotor is new: later checks are compared with this one")
    checked_at = MomentField("Measured at", [Needed("When was it measured?")])
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

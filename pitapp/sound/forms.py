"""The forms of what was heard; each can be typed too."""

from __future__ import annotations

from wtforms import HiddenField

from pitapp.web.forms.fields import Needed, NumberField
from pitapp.web.forms.form_errors import PitForm


class SpreadField(HiddenField):
    """The spread of heard revs, which the page fills in; empty where they were typed."""

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read it; what is no number is none."""
        try:
            self.data = float(valuelist[0]) if valuelist and valuelist[0] else None
        except ValueError:
            self.data = None


class BenchForm(PitForm):
    """Free revs by ear, with the voltage at the motor."""

    volts = NumberField("Voltage at the motor", [Needed("At what voltage?")], unit="V")
    free_rpm = NumberField("Free speed", [Needed("Listen, or type the revs.")], unit="rpm")
    heard_spread_rpm = SpreadField()


class LimitForm(PitForm):
    """Revs at full throttle, wheels in the air, and the limit."""

    limit_rpm = NumberField("Rev limit", [Needed("What is the limit?")], unit="rpm")
    rpm = NumberField("Revs", [Needed("Listen, or type the revs.")], unit="rpm")
    heard_spread_rpm = SpreadField()


class ComparisonForm(PitForm):
    """Revs heard, and what an instrument showed."""

    heard_rpm = NumberField("Heard", [Needed()], unit="rpm")
    instrument_rpm = NumberField("Instrument", [Needed()], unit="rpm")

"""The forms of the Forecast screens."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from wtforms import Form, RadioField, SelectField

from pitapp.drive.inputs.definitions import CORNERS, Input
from pitapp.drive.inputs.measurement import (
    braking_from_stop,
    coast_down,
    cooling_time_constant,
    grip_from_start,
)
from pitapp.drive.models import Setup
from pitapp.web.forms.fields import Needed, NumberField, QuantityField
from pitapp.web.forms.form_errors import PitForm

KMH_PER_M_S = 3.6


class FeelForm(PitForm):
    """A track by its longest straight and the feel of its corners."""

    longest = QuantityField(
        "Longest straight", [Needed("How long is it, about?")], kind="track_length"
    )
    corners = RadioField("Corners", choices=CORNERS, default="mixed")


class FigureForm(PitForm):
    """A figure of the racer's own; `value` is added by `figure_form`."""

    measured = RadioField(
        "Where it comes from",
        choices={"yes": "Measured here", "no": "From memory"},
        default="yes",
    )


def figure_form(figure: Input, **options: Any) -> Any:
    """A form for one figure, in the racer's unit."""
    needed = [Needed("Write the figure, or go back to the typical one below.")]
    field = (
        QuantityField(figure.label, needed, kind=figure.kind)
        if figure.kind
        else NumberField(figure.label, needed, unit=figure.unit)
    )
    form: Any = type("OneFigureForm", (FigureForm,), {"value": field})
    return form(**options)


class MeasureForm(PitForm):
    """A measurement that gives figures: `figures(setup)` works them out.

    `figures` raises ValueError with a sentence where no car could have been measured so.
    """

    title = ""
    how = ""
    caution = ""

    def figures(self, setup: Setup) -> dict[str, float]:
        """The figures by name."""
        raise NotImplementedError


NEEDED = "This is needed."


class CoastDownForm(MeasureForm):
    """A coast-down over a fast and a slow stretch."""

    title = "Coast-down"
    how = (
        "Slide the motor back so that the pinion is out of mesh, let the car coast on the flat, and "
        "time how long it takes from one speed to another: once fast, once slow. Do it both ways "
        "and take the means."
    )
    caution = "The car cannot brake with the pinion out of mesh: leave it room to run out."
    fast_from = QuantityField("Fast: from", [Needed(NEEDED)], kind="speed")
    fast_to = QuantityField("Fast: to", [Needed(NEEDED)], kind="speed")
    fast_s = NumberField("Fast: time", [Needed(NEEDED)], unit="s")
    slow_from = QuantityField("Slow: from", [Needed(NEEDED)], kind="speed")
    slow_to = QuantityField("Slow: to", [Needed(NEEDED)], kind="speed")
    slow_s = NumberField("Slow: time", [Needed(NEEDED)], unit="s")

    def figures(self, setup: Setup) -> dict[str, float]:
        """Drag area and rolling resistance."""
        measured = coast_down(
            self.fast_from.data / KMH_PER_M_S,
            self.fast_to.data / KMH_PER_M_S,
            self.fast_s.data,
            self.slow_from.data / KMH_PER_M_S,
            self.slow_to.data / KMH_PER_M_S,
            self.slow_s.data,
            setup.car.mass_kg,
            setup.air.density_kg_m3,
        )
        return {
            "drag_area_m2": measured.drag_area_m2,
            "rolling_resistance": measured.rolling_resistance,
        }


class StartForm(MeasureForm):
    """A timed standing start."""

    title = "Timed start"
    how = (
        "From a standstill at full throttle, time the first few metres. Keep it short: while the "
        "tyres are at their limit, the time tells the grip. A car too weak for that has at least "
        "this grip."
    )
    caution = "Keep people out of the way: nobody stands where the car could go."
    distance = QuantityField("Distance", [Needed(NEEDED)], kind="track_length")
    time = NumberField("Time", [Needed(NEEDED)], unit="s")

    def figures(self, setup: Setup) -> dict[str, float]:
        """Grip, of the weight on the driven wheels."""
        whole = grip_from_start(self.distance.data, self.time.data, setup.car.rolling_resistance)
        return {"grip": whole / setup.car.driven_weight_share}


class StopForm(MeasureForm):
    """A stop from a known speed."""

    title = "Timed stop"
    how = (
        "Brake to a standstill as in a race, from a speed that you know, and measure the distance."
    )
    caution = "Keep people out of the way: nobody stands where the car could go."
    speed = QuantityField("Speed", [Needed(NEEDED)], kind="speed")
    distance = QuantityField("Braking distance", [Needed(NEEDED)], kind="track_length")

    def figures(self, setup: Setup) -> dict[str, float]:
        """Mean braking."""
        del setup
        return {
            "braking_m_s2": braking_from_stop(self.speed.data / KMH_PER_M_S, self.distance.data)
        }


class CoolingForm(MeasureForm):
    """Two readings of a cooling can."""

    title = "Two readings while it cools"
    how = "After a run, leave the car standing as you always do. Read the can twice, minutes apart."
    caution = (
        "Do not touch the can: bare metal at 65 to 70 °C (149 to 158 °F) burns skin in a second "
        "(ISO 13732-1, from a secondary source), and cooler metal in a longer touch."
    )
    first = QuantityField("First reading", [Needed(NEEDED)], kind="temperature")
    second = QuantityField("Second reading", [Needed(NEEDED)], kind="temperature")
    minutes = NumberField("Time between", [Needed(NEEDED)], unit="min")
    air = QuantityField("Air", [Needed(NEEDED)], kind="temperature")

    def figures(self, setup: Setup) -> dict[str, float]:
        """How fast the can cools in the pit."""
        del setup
        seconds = cooling_time_constant(
            self.first.data, self.second.data, self.minutes.data * 60.0, self.air.data
        )
        return {"cooling_tau_s": seconds}


MEASURES: dict[str, type[MeasureForm]] = {
    "coast-down": CoastDownForm,
    "start": StartForm,
    "stop": StopForm,
    "cooling": CoolingForm,
}
MEASURED_BY = {
    "drag_area_m2": "coast-down",
    "rolling_resistance": "coast-down",
    "grip": "start",
    "braking_m_s2": "stop",
    "cooling_tau_s": "cooling",
}


class WhatIfForm(Form):
    """Today's figures changed; an empty field changes nothing."""

    motor = SelectField("Another motor", default="")
    pack = SelectField("Another pack", default="")
    kv_rpm_per_v = NumberField("Motor Kv", unit="rpm/V")
    pack_v = NumberField("Pack voltage", unit="V")
    tyre_diameter_mm = NumberField("Tyre diameter", unit="mm")
    air_c = QuantityField("Air", kind="temperature")
    rev_limit_rpm = NumberField("Rev limit", unit="rpm")
    mass_g = QuantityField("Weight", kind="mass")

    def set_choices(
        self, motors: Iterable[tuple[int, str]], packs: Iterable[tuple[int, str]]
    ) -> None:
        """Offer these motors and packs, each as its id and name."""
        for field, things in ((self.motor, motors), (self.pack, packs)):
            field.choices = {"": "as today"} | {str(key): name for key, name in things}

    @property
    def numbers(self) -> list[NumberField]:
        """The fields of figures."""
        return [field for field in self._fields.values() if isinstance(field, NumberField)]

    @property
    def changes(self) -> dict[str, float]:
        """The figures that were typed."""
        return {field.name: field.data for field in self.numbers if field.data is not None}


class ShoppingForm(Form):
    """The range to cover and the step wanted."""

    low = NumberField("Longest FDR", [Needed()])
    high = NumberField("Shortest FDR", [Needed()])
    step = NumberField("Largest step", [Needed()], unit="%")

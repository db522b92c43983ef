"""Every input of the forecast: typical value, accepted range, unit, and how to measure it.

Typical values and ranges are from memory, for a touring car of about 1:10 in a spec class.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal, NamedTuple

Scope = Literal["car", "motor", "track", "today"]
CORNERS = {"tight": "Tight", "mixed": "Mixed", "flowing": "Flowing"}
"""What a track without measured straights is like between them."""
Source = Literal[
    "measured here",
    "fitted from runs",
    "default, unsourced",
    "your guess",
    "makers' tables",
    "from Kit",
    "from the class",
    "from the pack",
    "from the last run",
]


class Input(NamedTuple):
    """One figure. `least` and `most` are what is accepted, `low` and `high` what is usual.

    `held` says where a figure stands that is not the forecast's own. `kind` is a kind of quantity
    of `pitapp.web.forms.quantities`, for figures with a unit of the racer's choice. `origin` is where the
    typical value comes from.
    """

    name: str
    label: str
    unit: str
    scope: Scope
    typical: float | None
    low: float
    high: float
    least: float
    most: float
    how: str
    held: Literal["", "car", "motor", "class"] = ""
    kind: str = ""
    origin: Source = "default, unsourced"


class InputValue(NamedTuple):
    """A figure with its source."""

    input: Input
    value: float | None
    source: Source
    detail: str = ""


class OwnFigure(NamedTuple):
    """A figure that the racer gave the forecast."""

    value: float
    measured: bool


CAN_LIMIT_C = 80.0
"""Where magnets of grade N, the weakest common one, begin to lose for good: makers' tables, from a
secondary source. The motor maker's figure comes first."""

INPUTS: tuple[Input, ...] = (
    Input(
        "air_c", "Air temperature", "°C", "today", 20.0, 5, 35, -30, 60,
        "A thermometer in the shade, by the track, now.", kind="temperature",
    ),
    Input(
        "start_c", "Can temperature at the start", "°C", "today", None, 10, 50, -30, 150,
        "Read the can before the car goes out. Left empty, the can starts as warm as the air.",
        kind="temperature",
    ),
    Input(
        "run_length_s", "Run length", "s", "today", 300.0, 240, 600, 10, 36_000,
        "The class or the timetable says it.", held="class",
    ),
    Input(
        "can_limit_c", "Can limit", "°C", "motor", CAN_LIMIT_C, 60, 100, 30, 200,
        "The motor maker's figure comes first. Typical is what the weakest common grade of magnet "
        "bears, by makers' tables as others quote them. While it drives, the winding is hotter than "
        "the can.",
        kind="temperature", origin="makers' tables",
    ),
    Input(
        "grip", "Grip", "", "track", 1.2, 0.8, 2.0, 0.05, 5,
        "Time a standing start at full throttle over a few metres, with wheels at their limit.",
    ),
    Input(
        "braking_m_s2", "Braking", "m/s²", "track", 8.0, 5, 14, 0.5, 60,
        "Note the speed, brake to a standstill as in a race, and measure the distance.",
    ),
    Input(
        "pressure_hpa", "Air pressure at the track", "hPa", "track", 1013.25, 900, 1040, 500, 1100,
        "A phone's barometer. Not reduced to sea level: about 12 hPa less per 100 m of height.",
    ),
    Input(
        "mass_g", "Weight, ready to race", "g", "car", 1350.0, 1200, 1600, 100, 50_000,
        "Scales, with pack and transponder.", held="car", kind="mass",
    ),
    Input(
        "tyre_diameter_mm", "Tyre diameter", "mm", "car", 63.0, 58, 66, 20, 300,
        "Callipers across a tyre, or ten turns along a tape / 31.4.", held="car",
    ),
    Input(
        "rolling_resistance", "Rolling resistance", "", "car", 0.03, 0.015, 0.06, 0, 0.5,
        "Coast down with the pinion out of mesh, over a fast and a slow stretch.",
    ),
    Input(
        "drag_area_m2", "Drag area", "m²", "car", 0.009, 0.005, 0.015, 0, 1,
        "The same coast-down gives it.",
    ),
    Input(
        "driven_weight_share", "Weight on driven wheels", "", "car", 1.0, 0.5, 1.0, 0.05, 1,
        "1 with four-wheel drive; else scales under the driven wheels, as a part of the whole.",
    ),
    Input(
        "drive_efficiency", "Drive efficiency", "", "car", 0.9, 0.8, 0.96, 0.3, 1,
        "Hard to measure in a pit. Change it only if logged top speeds stay off the forecast.",
    ),
    Input(
        "pack_v", "Pack voltage", "V", "car", 8.0, 3.7, 16.8, 1, 60,
        "Resting, half way through a run.", held="car",
    ),
    Input(
        "pack_resistance_mohm", "Pack resistance", "mΩ", "car", 6.0, 3, 15, 0, 2000,
        "A charger shows it by cell: add the cells up, and the lead.",
    ),
    Input(
        "capacity_mah", "Pack capacity", "mAh", "car", 6000.0, 3000, 8000, 50, 100_000,
        "The label, or what a full charge puts back.",
    ),
    Input(
        "controller_resistance_mohm", "Controller and leads", "mΩ", "car", 1.0, 0.3, 3, 0, 1000,
        "Hard to measure in a pit; the leads follow from gauge and length.",
    ),
    Input(
        "rev_limit_rpm", "Rev limit", "rpm", "car", None, 10_000, 30_000, 500, 200_000,
        "The class has it, else the car in Kit.", held="car",
    ),
    Input(
        "kv_rpm_per_v", "Kv", "rpm/V", "motor", None, 1500, 8000, 50, 20_000,
        "On the bench: free speed / volts at the motor.", held="motor",
    ),
    Input(
        "resistance_ohm", "Motor resistance", "Ω", "motor", 0.021, 0.003, 0.05, 0.0005, 5,
        "A milliohm meter between two leads, cold.", held="motor",
    ),
    Input(
        "no_load_current_a", "No-load current", "A", "motor", 2.0, 1, 6, 0, 60,
        "On the bench: the current at free speed.", held="motor",
    ),
    Input(
        "inertia_g_cm2", "Rotor inertia", "g·cm²", "motor", 40.0, 20, 80, 0, 100_000,
        "Hard to measure. About ½ · mass · radius² of the rotor, with the pinion.",
    ),
    Input(
        "cooling_tau_s", "Cooling in the pit", "s", "motor", 600.0, 300, 1200, 30, 36_000,
        "After a run read the can twice: seconds until it has lost 63 % of what it has over the air.",
    ),
)  # fmt: skip
BY_NAME = {each.name: each for each in INPUTS}
OWN = {each.name: each for each in INPUTS if not each.held}
SCOPE_TITLES: dict[Scope, str] = {
    "today": "Today",
    "track": "This track",
    "car": "Car and pack",
    "motor": "Motor",
}


def resolve_inputs(
    own: Mapping[str, OwnFigure],
    elsewhere: Iterable[tuple[Source, str, Mapping[str, float | None]]],
) -> dict[str, InputValue]:
    """Every figure with its source: the racer's own first, then what stands elsewhere, then memory.

    Args:
        own: what the racer gave the forecast.
        elsewhere: (source, detail, figures), the one to be believed first in front.

    >>> figures = resolve_inputs({}, [("from Kit", "Car", {"mass_g": 1330.0, "pack_v": None})])
    >>> [(figures[name].value, figures[name].source) for name in ("mass_g", "pack_v")]
    [(1330.0, 'from Kit'), (8.0, 'default, unsourced')]
    """
    inputs = {each.name: InputValue(each, each.typical, each.origin) for each in INPUTS}
    for source, detail, figures in reversed(list(elsewhere)):
        for name, value in figures.items():
            if value is not None:
                inputs[name] = InputValue(BY_NAME[name], value, source, detail)
    for name, figure in own.items():
        source = "measured here" if figure.measured else "your guess"
        inputs[name] = InputValue(BY_NAME[name], figure.value, source)
    return inputs

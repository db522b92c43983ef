"""The plots of the forecast."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pitapp.drive.models import Setup, Track
from pitapp.drive.physics.straight import run_straight
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.web.forms.quantities import unit
from pitapp.web.view.plot import Axis, Level, Plot, Point, Series, plot

KMH_PER_M_S = 3.6
MOST_MARKS = 40


def speed_along(gears: Iterable[tuple[str, float]], track: Track, setup: Setup) -> Plot:
    """Speed against distance on the longest straight, for gears given as (name, ratio)."""
    straight = max(track.straights, key=lambda each: each.length_m)
    metres, speed = unit("track_length"), unit("speed")
    series = []
    for name, ratio in gears:
        try:
            driven = run_straight(
                setup.car, setup.motor, setup.pack, setup.controller, setup.air, straight, ratio
            )
        except ValueError:
            continue
        line = [
            (metres.display_value(at), speed.display_value(pace * KMH_PER_M_S))
            for at, pace in driven.points
        ]
        fastest = max(line, key=lambda point: point[1])
        series.append(Series(name, [Point(*fastest, "fastest")], line=line))
    return plot(
        "speed-along",
        "Speed along the longest straight",
        Axis("distance", metres.symbol, digits=0),
        Axis("speed", speed.symbol, digits=1),
        series,
    )


def lap_by_ratio(
    along: Sequence[GearForecast],
    owned: Sequence[GearForecast],
    fitted_ratio: float | None,
    shift_s: float,
) -> Plot:
    """Lap time against FDR, the owned gears marked; laps are shifted to those logged."""
    return plot(
        "lap-by-ratio",
        "Lap time by FDR",
        Axis("FDR", digits=2),
        Axis("lap", "s", digits=2),
        _curve_and_marks(
            [(each.final_drive_ratio, each.lap_s + shift_s) for each in along],
            [(each, each.lap_s + shift_s) for each in owned],
            fitted_ratio,
        ),
        summary=_thinned_note(owned),
    )


def can_by_ratio(
    along: Sequence[GearForecast],
    owned: Sequence[GearForecast],
    fitted_ratio: float | None,
    can_limit_c: float,
) -> Plot:
    """Can temperature at the flag against FDR, the owned gears marked."""
    shown_in = unit("temperature")
    return plot(
        "can-by-ratio",
        "Can at the flag by FDR",
        Axis("FDR", digits=2),
        Axis("can", shown_in.symbol, digits=0),
        _curve_and_marks(
            [
                (each.final_drive_ratio, shown_in.display_value(each.flag_temperature_c))
                for each in along
            ],
            [(each, shown_in.display_value(each.flag_temperature_c)) for each in owned],
            fitted_ratio,
        ),
        levels=[Level(shown_in.display_value(can_limit_c), "limit")],
        summary=_thinned_note(owned),
    )


def _curve_and_marks(
    line: list[tuple[float, float]],
    owned: list[tuple[GearForecast, float]],
    fitted_ratio: float | None,
) -> list[Series]:
    inside, fitted = [], []
    last = float("-inf")
    by_ratio = sorted(owned, key=lambda each: each[0].final_drive_ratio)
    apart = 0.0
    if len(by_ratio) > MOST_MARKS:
        ratios = [gear.final_drive_ratio for gear, _ in by_ratio]
        apart = (ratios[-1] - ratios[0]) / MOST_MARKS
    for gear, value in by_ratio:
        ratio = gear.final_drive_ratio
        point = Point(ratio, value, f"{gear.pinion_teeth} / {gear.spur_teeth}")
        if fitted_ratio is not None and abs(ratio - fitted_ratio) < 1e-9:
            fitted.append(point)
        elif ratio - last >= apart:
            inside.append(point)
            last = ratio
    return [
        Series("in the box", inside, line=line),
        Series("fitted", fitted),
    ]


def _thinned_note(owned: Sequence[GearForecast]) -> str:
    if len(owned) <= MOST_MARKS:
        return ""
    return f"Of {len(owned)} gears about {MOST_MARKS} are marked."

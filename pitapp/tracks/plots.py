"""The plots of a track: what gear and day did to the can and to the laps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, tzinfo
from statistics import correlation

from pitapp.tracks.formulas import Outing
from pitapp.web.clock import home_zone, zone
from pitapp.web.plot import SHAPES, Axis, Level, Plot, Point, Series, clock_axis, plot
from pitapp.web.quantities import unit

RATIO = Axis("FDR", digits=2)
OTHERS = "others"
CLEAR = 0.4


def can_by_ratio(outings: Iterable[Outing], names: dict[int, str], can_limit_c: float) -> Plot:
    """FDR against the can temperature that was read."""
    shown_in = unit("temperature")
    read = [outing for outing in outings if outing.can_c is not None]
    return plot(
        "can-by-ratio",
        "Can temperature by FDR",
        RATIO,
        Axis("can", shown_in.symbol, digits=0),
        _by_car([(each, each.ratio, shown_in.shown(each.can_c or 0)) for each in read], names),
        levels=[Level(shown_in.shown(can_limit_c), "limit")],
        summary=_pull(
            [(each.ratio, each.can_c or 0) for each in read],
            "a longer gear ran hotter",
            "a longer gear ran cooler",
        ),
    )


def lap_by_ratio(outings: Iterable[Outing], names: dict[int, str]) -> Plot:
    """FDR against the best lap of the run."""
    timed = [outing for outing in outings if outing.best_lap_s is not None]
    return plot(
        "lap-by-ratio",
        "Best lap by FDR",
        RATIO,
        Axis("best lap", "s", digits=2),
        _by_car([(each, each.ratio, each.best_lap_s or 0) for each in timed], names),
        summary=_pull(
            [(each.ratio, each.best_lap_s or 0) for each in timed],
            "a longer gear was slower",
            "a longer gear was quicker",
        ),
    )


def through_the_day(outings: Sequence[Outing]) -> Plot:
    """The can and the air by the time of day."""
    shown_in = unit("temperature")
    of_day = sorted(outings, key=lambda outing: (outing.started_at, outing.id))
    series = [
        Series(
            name,
            [
                Point(
                    each.started_at.timestamp(),
                    shown_in.shown(value),
                    f"{each.pinion_teeth} / {each.spur_teeth}",
                    f"/runs/{each.id}",
                )
                for each in of_day
                if (value := getattr(each, field)) is not None
            ],
            joined=True,
        )
        for name, field in (("can", "can_c"), ("air", "air_c"))
    ]
    return plot(
        "through-the-day",
        "Temperature through the day",
        clock_axis("time", _zone(of_day[0]) if of_day else home_zone()),
        Axis("temperature", shown_in.symbol, digits=0),
        series,
    )


def days(outings: Iterable[Outing]) -> list[date]:
    """The days of these runs on the track's wall clock, newest first."""
    return sorted({wall_clock(outing).date() for outing in outings}, reverse=True)


def wall_clock(outing: Outing) -> datetime:
    """When the run started, by the wall clock at the track."""
    return outing.started_at.astimezone(_zone(outing))


def _zone(outing: Outing) -> tzinfo:
    return zone(outing.time_zone) if outing.time_zone else home_zone()


def _by_car(values: list[tuple[Outing, float, float]], names: dict[int, str]) -> list[Series]:
    by_name: dict[str, list[Point]] = {}
    for outing, x, y in sorted(values, key=lambda value: value[1]):
        name = names.get(outing.car_id or 0, OTHERS)
        if name not in by_name and len(by_name) >= len(SHAPES) - 1:
            name = OTHERS
        local = wall_clock(outing)
        note = f"{local.day} {local:%b %Y}"
        by_name.setdefault(name, []).append(Point(x, y, note, f"/runs/{outing.id}"))
    return [Series(name, points) for name, points in by_name.items()]


def _pull(values: list[tuple[float, float]], falling: str, rising: str) -> str:
    """What the runs say together, with how many they are; nothing where they are under three.

    A correlation of 0.4 and more counts as a pull: from memory, where such a drift meets the eye.
    """
    many = len(values)
    ratios, others = [x for x, _ in values], [y for _, y in values]
    if many < 3 or len(set(ratios)) < 2 or len(set(others)) < 2:
        return ""
    strength = correlation(ratios, others)
    if abs(strength) < CLEAR:
        return f"{many} runs, with no clear pull either way."
    return f"{many} runs: by and large {falling if strength < 0 else rising}."

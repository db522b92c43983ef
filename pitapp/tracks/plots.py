"""The plots of a track: what gear and day did to the can and to the laps."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, tzinfo
from statistics import correlation

from pitapp.tracks.formulas import TrackRun
from pitapp.web.clock import home_zone, zone
from pitapp.web.forms.quantities import unit
from pitapp.web.view.plot import SHAPES, Axis, Level, Plot, Point, Series, clock_axis, plot

RATIO = Axis("FDR", digits=2)
OTHERS = "others"
CLEAR = 0.4
Groups = dict[str, list[TrackRun]]
Value = Callable[[TrackRun], float | None]


def grouped(outings: Iterable[TrackRun], name: Callable[[TrackRun], str]) -> Groups:
    """The runs by a name of theirs; names beyond what a plot tells apart come together."""
    groups: Groups = {}
    for outing in outings:
        own = name(outing)
        if own not in groups and len(groups) >= len(SHAPES) - 1:
            own = OTHERS
        groups.setdefault(own, []).append(outing)
    return groups


def can_by_ratio(groups: Groups, can_limit_c: float, *, of_one_car: bool) -> Plot:
    """FDR against the can temperature that was read."""
    shown_in = unit("temperature")
    return plot(
        "can-by-ratio",
        "Can temperature by FDR",
        RATIO,
        Axis("can", shown_in.symbol, digits=0),
        _series(
            groups, lambda each: None if each.can_c is None else shown_in.display_value(each.can_c)
        ),
        levels=[Level(shown_in.display_value(can_limit_c), "limit")],
        summary=_trend_sentence(groups, lambda each: each.can_c, "hotter", "cooler")
        if of_one_car
        else "",
    )


def lap_by_ratio(groups: Groups, *, of_one_car: bool) -> Plot:
    """FDR against the best lap of the run."""
    return plot(
        "lap-by-ratio",
        "Best lap by FDR",
        RATIO,
        Axis("best lap", "s", digits=2),
        _series(groups, lambda each: each.best_lap_s),
        summary=_trend_sentence(groups, lambda each: each.best_lap_s, "slower", "quicker")
        if of_one_car
        else "",
    )


def through_the_day(outings: Sequence[TrackRun]) -> Plot:
    """The can and the air by the time of day."""
    shown_in = unit("temperature")
    of_day = sorted(outings, key=lambda outing: (outing.started_at, outing.id))
    series = [
        Series(
            name,
            [
                Point(
                    each.started_at.timestamp(),
                    shown_in.display_value(value),
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


def days(outings: Iterable[TrackRun]) -> list[date]:
    """The days of these runs on the track's wall clock, newest first."""
    return sorted({wall_clock(outing).date() for outing in outings}, reverse=True)


def wall_clock(outing: TrackRun) -> datetime:
    """When the run started, by the wall clock at the track."""
    return outing.started_at.astimezone(_zone(outing))


def _zone(outing: TrackRun) -> tzinfo:
    return zone(outing.time_zone) if outing.time_zone else home_zone()


def _series(groups: Groups, value: Value) -> list[Series]:
    return [
        Series(
            name,
            [
                Point(each.ratio, y, _day(each), f"/runs/{each.id}")
                for each in sorted(outings, key=lambda outing: outing.ratio)
                if (y := value(each)) is not None
            ],
        )
        for name, outings in groups.items()
    ]


def _day(outing: TrackRun) -> str:
    local = wall_clock(outing)
    return f"{local.day} {local:%b %Y}"


def _trend_sentence(groups: Groups, value: Value, falling: str, rising: str) -> str:
    """What the runs say together, with how many they are; nothing where they are under three.

    A correlation of 0.4 and more counts as a pull: from memory, where such a drift meets the eye.
    """
    points = [
        (each.ratio, y)
        for outings in groups.values()
        for each in outings
        if (y := value(each)) is not None
    ]
    ratios, values = [x for x, _ in points], [y for _, y in points]
    if len(points) < 3 or len(set(ratios)) < 2 or len(set(values)) < 2:
        return ""
    strength = correlation(ratios, values)
    if abs(strength) < CLEAR:
        return f"{len(points)} runs, with no clear pull either way."
    return f"{len(points)} runs: by and large, the longer the gear, the {falling if strength < 0 else rising}."

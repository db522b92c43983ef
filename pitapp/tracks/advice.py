"""The starting gear in words."""

from __future__ import annotations

from pitapp.tracks.formulas import GearRecord, StartingGear
from pitapp.web.forms.quantities import plain, quantity, rounded


def reasons(start: StartingGear) -> list[str]:
    """Why this gear, in sentences drawn from the runs."""
    return [
        _source_sentence(start),
        *_laps(start.record),
        *_heat(start),
        *_passed_over(start),
        *_tyres(start),
    ]


def _source_sentence(start: StartingGear) -> str:
    with_it, looked_at = len(start.record.outings), start.outings
    runs = "run" if looked_at == 1 else "runs"
    sentence = f"{with_it} of {looked_at} {runs} here had this gear"
    if start.same_car and start.same_class:
        sentence += ", all in this class with this car."
    elif start.same_car:
        sentence += ", with this car but in another class."
    elif start.same_class:
        sentence += ", in this class but with another car."
    else:
        sentence += ", with another car in another class."
    return f"{sentence} One run is a hint, no more." if with_it == 1 else sentence


def _laps(record: GearRecord) -> list[str]:
    best, typical = record.best_lap_s, record.typical_lap_s
    if best is None or typical is None:
        return ["No lap was logged with it: it is the gear that was run last."]
    if len(record.outings) == 1:
        return [f"Best lap {rounded(best, 2)} s."]
    return [f"Best lap {rounded(best, 2)} s, {rounded(typical, 2)} s typically."]


def _heat(start: StartingGear) -> list[str]:
    hottest = start.record.hottest
    if hottest is None or hottest.can_c is None:
        return ["The can was never read with it. Read it after the first run."]
    air = f", in {quantity(hottest.air_c, 'temperature')} air" if hottest.air_c is not None else ""
    sentence = f"The can reached {quantity(hottest.can_c, 'temperature')} at most{air}."
    if start.hot:
        limit = quantity(start.can_limit_c, "temperature")
        return [
            f"{sentence} Every gear here came near to {limit} or over it: start shorter, and read "
            "the can after a minute or two."
        ]
    return [sentence]


def _passed_over(start: StartingGear) -> list[str]:
    hot = start.too_hot
    if hot is None or hot.hottest is None or hot.hottest.can_c is None or hot.best_lap_s is None:
        return []
    gear, own = hot.newest, start.record.best_lap_s
    by = f"{rounded(own - hot.best_lap_s, 2)} s quicker" if own is not None else "timed"
    return [
        f"{gear.pinion_teeth} / {gear.spur_teeth} was {by}, but its can reached "
        f"{quantity(hot.hottest.can_c, 'temperature')}."
    ]


def _tyres(start: StartingGear) -> list[str]:
    if start.ratio_today is None:
        return []
    return [
        f"The tyres were {plain(start.gear.tyre_diameter_mm)} mm then. For the same rollout with "
        f"today's, look for FDR {rounded(start.ratio_today, 2)}."
    ]

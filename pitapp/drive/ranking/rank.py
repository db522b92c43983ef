"""Every gear that fits, driven round the track and put in order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from math import log
from typing import NamedTuple

from pitapp.drive.learning.lap_slope import fit_lap_slope
from pitapp.drive.models import Setup, Track
from pitapp.drive.physics.gear_coefficients import Gear, fixed_figures, gear_figures
from pitapp.drive.physics.lap import corner_moments, corner_sums
from pitapp.drive.physics.straight import MAH_PER_AS, short_note, slow_note
from pitapp.drive.physics.straight_kernel import Segment, drive
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.uncertainty import can_se_k, lap_se_s
from pitapp.drive.ranking.verdict import Outlook, level_of
from pitapp.gearing.models import GearOption
from pitapp.heat.fit import fit_heating, flag_temperature
from pitapp.heat.models import HeatingFit
from pitapp.limits import number

# Share of a change in heat between gears that the model may be out by, from memory.
_HEAT_CHANGE_SPREAD = 0.2
_SAME_RATIO = 1e-9


class _Lap(NamedTuple):
    gear: Gear
    seconds: float
    top: float
    limit_s: float
    limit_m: float
    charge: float
    watts: float


def _laps(ratios: Sequence[float], track: Track, setup: Setup) -> dict[float, _Lap]:
    """One lap in every gear; `ratios` in order, so that each gear starts from the ones before."""
    fixed = fixed_figures(setup.car, setup.motor, setup.pack, setup.controller, setup.air)
    braking = setup.car.braking_m_s2
    segments = [
        Segment(straight.length_m, straight.entry_speed_m_s, straight.exit_speed_m_s, count)
        for straight, count in Counter(track.straights).items()
    ]
    moments = corner_moments(track.straights)
    fastest = max(
        max(straight.entry_speed_m_s, straight.exit_speed_m_s or 0.0)
        for straight in track.straights
    )
    last = before = [0.0] * len(segments)
    laps: dict[float, _Lap] = {}
    step = 0.0
    for index, ratio in enumerate(ratios):
        gear = gear_figures(fixed, ratio)
        own, corners = segments, moments
        if gear.cap < fastest:
            own = [segment._replace(entry=min(segment.entry, gear.cap)) for segment in segments]
            corners = corner_moments(track.straights, gear.cap)
        if index > 1:
            step = (ratio - ratios[index - 1]) / (ratios[index - 1] - ratios[index - 2])
        guesses = [x + (x - y) * step for x, y in zip(last, before, strict=True)]
        driven = drive(gear, own, braking, guesses)
        last, before = guesses, last
        corner_s, corner_as, corner_j = corner_sums(gear, corners)
        seconds = driven.time + corner_s
        laps[ratio] = _Lap(
            gear,
            seconds,
            driven.top,
            driven.limit_time,
            driven.limit_distance,
            driven.charge + corner_as,
            (driven.heat + corner_j) / seconds,
        )
    return laps


def _general_notes(track: Track, setup: Setup, heating: HeatingFit) -> tuple[str, ...]:
    notes = [short_note(setup.car, straight) for straight in track.straights]
    if setup.can_fit is None:
        notes.insert(0, heating.note)
    if setup.fitted_ratio is None:
        notes.append("No gear is fitted: lap times are against the quickest gear.")
    return tuple(dict.fromkeys(note for note in notes if note))


def _beyond(ratio: float, logged: Sequence[float]) -> float | None:
    """How far a ratio lies outside logged ones, as a part; None with none logged."""
    if not logged:
        return None
    out = max(min(logged) / ratio, ratio / max(logged)) - 1.0
    return out if out > _SAME_RATIO else 0.0


def rank_gears(options: Iterable[GearOption], track: Track, setup: Setup) -> list[GearForecast]:
    """Forecast every gear on a track and rank them: quickest lap first, gears to leave alone last.

    Lap time is that of `run_lap` plus the slope learned from best laps (`setup.lap_slope`) times
    the step in FDR from the fitted gear. The run is `run_length_s` of such laps; the can's
    temperature at its end follows from the mean motor heat by `setup.heating`, or a guess while
    there is none. Its uncertainty is a standard one and grows by a fifth of the change in heat
    from the nearest logged gear (from memory). What logged runs have taught (`setup.can_fit`,
    `setup.lap_fit`) takes the place of both, with the uncertainties of `ranking.uncertainty`.

    Args:
        options: 1 to 20 000 gears, as `gear_options` of `gearing` gives them.
        track: straights and corners.
        setup: the car, its surroundings, the run and what was learned.

    Returns:
        one forecast per option.

    Raises:
        ValueError: no gears, a ratio outside any car, or a car that cannot move in a gear.

    Source: derived here.

    >>> from pitapp.drive.formulas import Car, Motor, Pack, track_by_feel
    >>> from pitapp.gearing.formulas import GearOption
    >>> setup = Setup(
    ...     car=Car(mass_kg=1.4, tyre_diameter_mm=63),
    ...     motor=Motor(kv_rpm_per_v=2380, resistance_ohm=0.02),
    ...     pack=Pack(voltage_v=7.4), fitted_ratio=4.0,
    ... )
    >>> gears = [GearOption(pinion, 80, 2.0 * 80 / pinion) for pinion in (36, 40, 44)]
    >>> [forecast.pinion_teeth for forecast in rank_gears(gears, track_by_feel(45), setup)]
    [44, 40, 36]
    """
    gears = list(options)
    if not gears:
        raise ValueError("There are no gears to rank: no pinion and spur fit.")
    if len(gears) > 20_000:
        raise ValueError("Too many gears at once: give at most 20 000.")
    wanted = [number(gear.final_drive_ratio, "final drive ratio", 0.5, 50) for gear in gears]
    fitted, logged = setup.fitted_ratio, setup.logged_ratios
    extra = set(logged) if fitted is None else {fitted, *logged}
    laps = _laps(sorted({*wanted, *extra}), track, setup)
    heating = setup.heating or fit_heating([])
    slope = setup.lap_slope or fit_lap_slope([])
    warming = setup.can_fit.warming(setup.run_length_s) if setup.can_fit else None
    lap_fit, widening = setup.lap_fit, setup.widening

    def correction_s(ratio: float) -> float:
        return lap_fit.correction_s(ratio) if lap_fit else slope.slope_s_per_ratio * ratio

    if fitted is None:
        fitted = min(wanted, key=lambda ratio: laps[ratio].seconds + correction_s(ratio))
    base = laps[fitted]
    air_c = setup.air.temperature_c
    start_c = air_c if setup.start_temperature_c is None else setup.start_temperature_c
    general = _general_notes(track, setup, heating)
    run_s, limit_c, capacity = setup.run_length_s, setup.can_limit_c, setup.pack.capacity_mah
    fastest_entry = max(straight.entry_speed_m_s for straight in track.straights)

    def outlook(ratio: float) -> Outlook:
        lap = laps[ratio]
        change = correction_s(ratio) - correction_s(fitted)
        if warming is not None:
            flag_c, fit_se, rise = warming.can(lap.watts, ratio, start_c, air_c)
            flag_se_c = can_se_k(fit_se, rise, air_c, warming.fit.mean_air_c, widening.can)
        else:
            spread = 0.0
            if logged:
                near = min(logged, key=lambda logged_ratio: abs(logged_ratio - ratio))
                spread = _HEAT_CHANGE_SPREAD * abs(lap.watts - laps[near].watts)
            flag_c, flag_se_c = flag_temperature(heating, lap.watts, run_s, start_c, air_c, spread)
        seconds = max(lap.seconds + change, 0.1)
        charge = lap.charge * MAH_PER_AS * run_s / seconds * setup.charge_factor
        return Outlook(
            lap_s=seconds,
            difference_s=lap.seconds - base.seconds + change,
            temperature_c=flag_c,
            temperature_se_c=flag_se_c,
            limit_m=lap.limit_m,
            charge_mah=charge,
            pack_share=charge / capacity,
            can_limit_c=limit_c,
            beyond=_beyond(ratio, logged),
        )

    outlooks = {ratio: outlook(ratio) for ratio in {*wanted, fitted}}
    now = outlooks[fitted]
    rev_limit = setup.controller.rev_limit_rpm
    forecasts = []
    for option, ratio in zip(gears, wanted, strict=True):
        lap, out = laps[ratio], outlooks[ratio]
        slow = slow_note(lap.gear, fastest_entry)
        forecasts.append(
            GearForecast(
                option.pinion_teeth,
                option.spur_teeth,
                ratio,
                out,
                now,
                abs(ratio - fitted) <= _SAME_RATIO,
                lap_se_s(
                    lap_fit.change_se(ratio, fitted),
                    base.seconds,
                    log(ratio / fitted),
                    widening.lap,
                    lap_fit.gain,
                )
                if lap_fit
                else slope.slope_se_s_per_ratio * abs(ratio - fitted),
                lap.top,
                lap.top * lap.gear.rpm_per_m_s / rev_limit if rev_limit else None,
                lap.limit_s,
                lap.watts,
                level_of(out),
                (*general, slow) if slow else general,
            )
        )
    return sorted(
        forecasts, key=lambda forecast: (forecast.level == "stop", forecast.outlook.lap_s)
    )

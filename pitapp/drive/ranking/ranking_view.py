"""The ranking as the screens show it: best gear, verdicts in the racer's units, notes, plots."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from math import sqrt

from pitapp.drive.forecast_context import ForecastContext
from pitapp.drive.learning.logged_run import LoggedRun
from pitapp.drive.plots import can_by_ratio, lap_by_ratio, speed_along
from pitapp.drive.ranking.drivable import curve, rank_drivable
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.head import choose
from pitapp.drive.ranking.value_of_information import GearTrial, try_next
from pitapp.drive.ranking.verdict import CARE, Outlook, verdict_of
from pitapp.gearing.models import GearOption
from pitapp.heat.fit import NO_RUNS
from pitapp.runs.models import Run
from pitapp.web.forms.quantities import unit
from pitapp.web.view.plot import Plot

AROUND = 0.04
"""How far beyond the owned gears the plots reach, as a part of the ratio."""
SAME_RATIO = 1e-9
SAME_STEP = 0.003
LEAST_STEP_S = 0.005


class RankingView:
    """Forecasts of some gears, best first, beside the gear now fitted.

    Raises:
        ValueError: the model can drive none of them, with the reason.
    """

    def __init__(
        self, context: ForecastContext, options: Sequence[GearOption] | None = None
    ) -> None:
        if context.track is None:
            raise ValueError("This track has no straights yet: give at least the longest one.")
        self.context = context
        self.track = context.track
        self.setup = context.setup
        self.limit_c = self.setup.can_limit_c
        wanted = list(context.options if options is None else options)
        fitted, more = self._fitted_option(wanted)
        ranking = rank_drivable([*wanted, *more], self.track, self.setup)
        self.gears = [each for each in ranking.gears if not (more and _is(each, fitted))]
        self.fitted = next((each for each in ranking.gears if _is(each, fitted)), None)
        self.left_out = tuple(each for each in ranking.left_out if each not in more)
        self.left_out_reason = ranking.reason
        if not self.gears:
            raise ValueError(ranking.reason)
        self.head = choose(self.gears, self.setup.logged_ratios)

    def _fitted_option(
        self, wanted: list[GearOption]
    ) -> tuple[GearOption | None, list[GearOption]]:
        """The gear fitted, and by itself in a list if it is not among those wanted."""
        ratio, fit = self.setup.fitted_ratio, self.context.fitted
        if ratio is None or fit is None:
            return None, []
        option = GearOption(fit.pinion_teeth, fit.spur_teeth, ratio)
        return option, [] if any(_is(each, option) for each in wanted) else [option]

    @property
    def best(self) -> GearForecast:
        """The gear at the head; with none to stake a motor on, the one that the model points to."""
        if self.head.gear is not None:
            return self.head.gear
        if self.head.reason == "none safe":
            return min(self.gears, key=lambda each: each.flag_temperature_c)
        return self.gears[0]

    @property
    def direction(self) -> GearForecast | None:
        """The quickest gear, where the head is slower and that one is to be gone to in steps."""
        head, first = self.head.gear, self.gears[0]
        if head is None or first is head or first.level != "look":
            return None
        return first if head.lap_s - first.lap_s >= LEAST_STEP_S else None

    @property
    def hopeless(self) -> bool:
        """Whether even the coolest gear is expected to be over its limit, or empties the pack."""
        return all(each.level == "stop" for each in self.gears)

    @cached_property
    def trial(self) -> GearTrial | None:
        """The gear to try next, where that is worth a word."""
        head, setup = self.head.gear, self.setup
        can, laps = setup.can_fit, setup.lap_fit
        if head is None or can is None or laps is None or not laps.runs:
            return None
        warming = can.warming(setup.run_length_s)
        air_c = setup.air.temperature_c
        start_c = air_c if setup.start_temperature_c is None else setup.start_temperature_c
        slopes = {
            id(each): warming.gradient(each.heat_w, each.final_drive_ratio, start_c, air_c)
            for each in self.gears
        }
        wide = setup.widening

        def of_cans(one: GearForecast, other: GearForecast) -> float:
            return wide.can**2 * warming.covariance(slopes[id(one)], slopes[id(other)])

        def of_laps(one: GearForecast, other: GearForecast) -> float:
            return wide.lap**2 * laps.change_covariance(
                one.final_drive_ratio, other.final_drive_ratio, head.final_drive_ratio
            )

        return try_next(
            self.gears, head, setup.logged_ratios, of_laps, of_cans,
            sqrt(2.0) * laps.scatter_s, can.noise_k,
        )  # fmt: skip

    def measured(self, gear: GearForecast) -> Run | None:
        """The newest run here in that very gear whose can was read."""
        return next(
            (
                run
                for run in self.context.logged
                if run.can_c is not None
                and (run.track_id or 0) == self.context.track_id
                and (run.pinion_teeth, run.spur_teeth) == (gear.pinion_teeth, gear.spur_teeth)
            ),
            None,
        )

    @property
    def care(self) -> str:
        """The rule of the mark, where any gear has it."""
        return CARE if any(each.level == "look" for each in self.gears) else ""

    @property
    def airless(self) -> list[LoggedRun]:
        """Runs with a can that is not used, since there is no air to set it beside."""
        return self.context.learned.airless

    @property
    def sureness(self) -> str:
        """What the ± means, how many runs the head's can is known by, and how near they were."""
        runs = self.setup.can_fit.runs if self.setup.can_fit else 0
        if not runs:
            if self.airless:
                return "A guess: of no run of this motor are both can and air logged yet."
            return "A guess: no run of this motor has its can logged yet."
        many = f"{runs} logged run{'' if runs == 1 else 's'}"
        ratio = self.best.final_drive_ratio
        near = min(abs(each / ratio - 1.0) for each in self.setup.logged_ratios)
        where = "one in this gear" if near < SAME_STEP else f"the nearest {near * 100:.0f} % away"
        return f"Two runs in three end inside the ±, going by {many}, {where}."

    def is_fitted(self, gear: GearForecast) -> bool:
        """Whether that gear is in the car."""
        return _is(gear, self.fitted)

    def verdict(self, gear: GearForecast) -> str:
        """The verdict in words, temperatures in the racer's unit."""
        shown_in, change = unit("temperature"), unit("temperature_change")

        def in_unit(out: Outlook) -> Outlook:
            return out._replace(
                temperature_c=shown_in.display_value(out.temperature_c),
                temperature_se_c=change.display_value(out.temperature_se_c),
                can_limit_c=shown_in.display_value(out.can_limit_c),
            )

        return _unbroken(
            verdict_of(
                in_unit(gear.outlook),
                in_unit(gear.fitted),
                same=gear.as_fitted,
                degrees=shown_in.symbol,
            )
        )

    @property
    def notes(self) -> list[str]:
        """What the forecast does not know, in sentences."""
        learned = self.context.learned
        laps = learned.laps
        notes = [*self.best.notes, *self._track_notes()]
        if not learned.can.runs and not self.airless:
            notes.append(NO_RUNS)
        if not laps.runs:
            notes.append("No best laps logged here yet: lap times stand on the model alone.")
        if self.left_out:
            lost = len(self.left_out)
            gears = "1 gear is" if lost == 1 else f"{lost} gears are"
            notes.append(f"{gears} left out. {self.left_out_reason}")
        return list(dict.fromkeys(notes))

    def _track_notes(self) -> list[str]:
        record = self.context.track_record
        if record is None or not record.straights:
            return ["The track is a guess from its longest straight and the feel of its corners."]
        if record.lap_length_m is None:
            return ["The track has no lap length, so corners are left out of lap times and heat."]
        return []

    @property
    def shift_s(self) -> float:
        """What laps logged here are over the model's, for the gear that differences are from."""
        fit, ratio = self.context.learned.laps, self.setup.fitted_ratio
        if fit.offset_s is None:
            return 0.0
        if ratio is None or self.fitted is None:
            ratio = fit.reference_ratio
        return fit.offset_s + fit.correction_s(ratio)

    def fitted_named(self, besides: float) -> list[tuple[str, float]]:
        """The gear now fitted for a plot beside another ratio; nothing if it is the same."""
        if self.fitted is None or abs(self.fitted.final_drive_ratio - besides) <= SAME_RATIO:
            return []
        name = f"{self.fitted.pinion_teeth} / {self.fitted.spur_teeth}, fitted"
        return [(name, self.fitted.final_drive_ratio)]

    def plots(self) -> list[Plot]:
        """Speed along the straight in two gears; lap time and temperature by FDR."""
        best = self.best
        pair = [(f"{best.pinion_teeth} / {best.spur_teeth}", best.final_drive_ratio)]
        pair += self.fitted_named(best.final_drive_ratio)
        if len(pair) == 1 and len(self.gears) > 1:
            second = self.gears[1]
            pair.append((f"{second.pinion_teeth} / {second.spur_teeth}", second.final_drive_ratio))
        owned = [*self.gears]
        if self.fitted is not None and self.fitted not in owned:
            owned.append(self.fitted)
        ratios = [each.final_drive_ratio for each in owned]
        along = curve(
            min(ratios) * (1 - AROUND), max(ratios) * (1 + AROUND), self.track, self.setup
        )
        fitted_ratio = self.setup.fitted_ratio
        return [
            speed_along(pair, self.track, self.setup),
            lap_by_ratio(along, owned, fitted_ratio, self.shift_s),
            can_by_ratio(along, owned, fitted_ratio, self.limit_c),
        ]


def _is(gear: GearOption | GearForecast, other: GearOption | GearForecast | None) -> bool:
    """Whether both are the same pair at the same ratio."""
    return (
        other is not None
        and (gear.pinion_teeth, gear.spur_teeth) == (other.pinion_teeth, other.spur_teeth)
        and abs(gear.final_drive_ratio - other.final_drive_ratio) <= SAME_RATIO
    )


def _unbroken(sentence: str) -> str:
    return sentence.replace(" °", "\u00a0°").replace(" ± ", "\u00a0±\u00a0")

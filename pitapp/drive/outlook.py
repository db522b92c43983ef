"""The gears of the box ranked for the track, as the screens show them."""

from __future__ import annotations

from collections.abc import Sequence

from pitapp.drive.forecast import GearForecast
from pitapp.drive.garage import Garage
from pitapp.drive.plots import can_by_ratio, lap_by_ratio, speed_along
from pitapp.drive.setting_up import curve, ranked
from pitapp.drive.verdict import Outlook, verdict_of
from pitapp.gearing.models import GearOption
from pitapp.web.plot import Plot
from pitapp.web.quantities import unit

AROUND = 0.04
"""How far beyond the owned gears the plots reach, as a part of the ratio."""
SAME_RATIO = 1e-9


class Outlooks:
    """Forecasts of some gears, best first, beside the gear now fitted.

    Raises:
        ValueError: the model can drive none of them, with the reason.
    """

    def __init__(self, garage: Garage, options: Sequence[GearOption] | None = None) -> None:
        if garage.track is None:
            raise ValueError("This track has no straights yet: give at least the longest one.")
        self.garage = garage
        self.track = garage.track
        self.setup = garage.setup
        self.limit_c = self.setup.can_limit_c
        wanted = list(garage.options if options is None else options)
        fitted, more = self._fitted_option(wanted)
        found = ranked([*wanted, *more], self.track, self.setup)
        self.gears = [each for each in found.gears if not (more and _is(each, fitted))]
        self.fitted = next((each for each in found.gears if _is(each, fitted)), None)
        self.left_out = tuple(each for each in found.left_out if each not in more)
        self.left_out_reason = found.reason
        if not self.gears:
            raise ValueError(found.reason)

    def _fitted_option(
        self, wanted: list[GearOption]
    ) -> tuple[GearOption | None, list[GearOption]]:
        """The gear fitted, and by itself in a list if it is not among those wanted."""
        ratio, fit = self.setup.fitted_ratio, self.garage.fitted
        if ratio is None or fit is None:
            return None, []
        option = GearOption(fit.pinion_teeth, fit.spur_teeth, ratio)
        return option, [] if any(_is(each, option) for each in wanted) else [option]

    @property
    def best(self) -> GearForecast:
        """The gear to fit."""
        return self.gears[0]

    @property
    def surest(self) -> GearForecast | None:
        """The best gear that nothing speaks against, if it is another than the best."""
        sure = next((each for each in self.gears if each.level == "good"), None)
        return sure if sure is not self.best else None

    def is_fitted(self, gear: GearForecast) -> bool:
        """Whether that gear is in the car."""
        return _is(gear, self.fitted)

    def verdict(self, gear: GearForecast) -> str:
        """The verdict in words, temperatures in the racer's unit."""
        shown_in, change = unit("temperature"), unit("temperature_change")
        if shown_in.unit == shown_in.metric_unit:
            return _unbroken(gear.verdict)

        def told(out: Outlook) -> Outlook:
            return out._replace(
                temperature_c=shown_in.shown(out.temperature_c),
                temperature_se_c=change.shown(out.temperature_se_c),
                can_limit_c=shown_in.shown(out.can_limit_c),
            )

        return _unbroken(
            verdict_of(
                told(gear.outlook),
                told(gear.fitted),
                same=gear.as_fitted,
                degrees=shown_in.symbol,
            )
        )

    @property
    def notes(self) -> list[str]:
        """What the forecast does not know, in sentences."""
        taught = self.garage.learned
        laps = taught.lap_slope
        said = [*taught.notes, *self.best.notes, *self._track_notes()]
        if not laps.runs:
            said.append("No best laps logged here yet: lap times stand on the model alone.")
        elif laps.rough:
            many = "best lap here does" if laps.runs == 1 else "best laps here do"
            said.append(f"Rough: {laps.runs} {many} not settle how lap time changes with the gear.")
        if self.left_out:
            lost = len(self.left_out)
            gears = "1 gear is" if lost == 1 else f"{lost} gears are"
            said.append(f"{gears} left out. {self.left_out_reason}")
        return list(dict.fromkeys(said))

    def _track_notes(self) -> list[str]:
        record = self.garage.track_record
        if record is None or not record.straights:
            return ["The track is a guess from its longest straight and the feel of its corners."]
        if record.lap_length_m is None:
            return ["The track has no lap length, so corners are left out of lap times and heat."]
        return []

    @property
    def shift_s(self) -> float:
        """What laps logged here are over the model's, for the gear that differences are from."""
        taught, ratio = self.garage.learned, self.setup.fitted_ratio
        if taught.lap_offset_s is None:
            return 0.0
        if ratio is None or self.fitted is None:
            ratio = taught.lap_centre
        return taught.lap_offset_s + taught.lap_slope.slope_s_per_ratio * (
            ratio - taught.lap_centre
        )

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

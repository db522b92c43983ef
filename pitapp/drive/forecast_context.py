"""All inputs of the current car's forecast: the car's context with what its runs have taught."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from pitapp.drive.car_context import CarContext
from pitapp.drive.inputs.build_setup import build_setup
from pitapp.drive.inputs.definitions import InputValue
from pitapp.drive.learning.backtest import BackTest, run_back_tests, widening
from pitapp.drive.learning.can import CanPrior
from pitapp.drive.learning.charge import charge_factor, charge_pairs
from pitapp.drive.learning.corners import corners_from_runs
from pitapp.drive.learning.logged_run import LoggedRun, logged_run
from pitapp.drive.learning.run_history import (
    LearnedFits,
    RunResidual,
    fit_runs,
    run_residuals,
)
from pitapp.drive.learning.top_speed import (
    TopSpeedFit,
    TopSpeedPrior,
    fit_top_speeds,
    taught,
    unlikely_speeds,
)
from pitapp.drive.missing_input import Missing, missing_gears
from pitapp.drive.models import Setup, Track
from pitapp.drive.physics.lap import track_by_feel
from pitapp.packs.charging import store as charging
from pitapp.runs.laps import store as lap_store
from pitapp.runs.models import Run
from pitapp.tracks.formulas import for_drive

COOLING_TAU_S = 600.0
BACK_TEST_RUNS = 16
SLIP_WEIGHT = 0.25
MEASURED_SPREADS = {
    "drag_area_m2": {"drag_spread": 0.05},
    "drive_efficiency": {"efficiency_spread": 0.03},
}
"""What top speeds may still change of a figure that the racer has measured."""


class ForecastContext(CarContext):
    """The current car with what its runs have taught, each read when first asked for."""

    def driven_track(self, track_id: int) -> Track | None:
        """A track as the model drives it: measured, else by its feel, else None."""
        if track_id not in self._driven:
            self._driven[track_id] = None
            believed = self._believed(track_id)
            self._driven[track_id] = believed and self._with_laps(track_id, believed)
        return self._driven[track_id]

    def _with_laps(self, track_id: int, believed: Track) -> Track:
        """The track with its corners' time from laps logged on it."""
        runs = [run for run in self.logged if (run.track_id or 0) == track_id and run.best_lap_s]
        logged = [logged_run(run, lambda _: believed, self.race_classes) for run in runs]
        return corners_from_runs(believed, [each for each in logged if each], self.plain_setup)

    def _believed(self, track_id: int) -> Track | None:
        record = self.tracks.get(track_id)
        if record is not None and record.straights:
            return for_drive(record)
        feel = self.feels.get(track_id)
        return None if feel is None else track_by_feel(*feel)

    @cached_property
    def track(self) -> Track | None:
        """The chosen track as the model drives it."""
        return self.driven_track(self.track_id)

    @cached_property
    def top_speeds(self) -> TopSpeedFit | None:
        """What measured top speeds have taught of drag and power; None without any."""
        asked = self._of_top_speeds
        return None if asked is None else fit_top_speeds(*asked)

    @cached_property
    def unlikely_speeds(self) -> tuple[LoggedRun, ...]:
        """Runs whose top speed is too far from the model's to be learned from, newest first."""
        asked = self._of_top_speeds
        return () if asked is None else unlikely_speeds(*asked)

    @cached_property
    def _of_top_speeds(self) -> tuple[tuple[LoggedRun, ...], Setup, TopSpeedPrior] | None:
        """The runs with a top speed, the set-up as believed, and how far that may be out."""
        runs = [run for run in self.logged if run.top_speed_kmh is not None]
        if not runs:
            return None
        logged = [logged_run(run, self._believed, self.race_classes) for run in runs]
        own: dict[str, float] = {}
        for name, spread in MEASURED_SPREADS.items():
            if self.inputs[name].source == "measured here":
                own |= spread
        try:
            known = build_setup(self.inputs)
        except ValueError:
            return None
        return tuple(each for each in logged if each), known, TopSpeedPrior(**own)

    def as_taught(self, setup: Setup) -> Setup:
        """A set-up with what measured top speeds have taught of drag and power."""
        return taught(setup, self.top_speeds)

    @property
    def taught_figures(self) -> dict[str, InputValue]:
        """The figures that top speeds have changed, as they are reckoned with."""
        if self.top_speeds is None:
            return {}
        car, pack = self.plain_setup.car, self.plain_setup.pack
        values = {
            "drag_area_m2": car.drag_area_m2,
            "drive_efficiency": car.drive_efficiency,
            "pack_v": pack.voltage_v,
        }
        return {
            name: InputValue(self.inputs[name].input, value, "fitted from runs")
            for name, value in values.items()
        }

    @cached_property
    def learned(self) -> LearnedFits:
        """What the runs of this motor in this car have taught about this track."""
        return fit_runs(self.run_residuals(self.logged), self.track_id, self.prior)

    @property
    def slips(self) -> list[LoggedRun]:
        """Runs whose reading is so far from the others that it hardly counts."""
        read = [each.run for each in self.learned.run_residuals if each.reading]
        weights = self.learned.can.weights[: len(read)]
        return [run for run, weight in zip(read, weights, strict=True) if weight < SLIP_WEIGHT]

    @property
    def prior(self) -> CanPrior:
        """Prior of the can fit, with the racer's own cooling time where there is one."""
        cooling = self.inputs["cooling_tau_s"]
        own = {"standing_spread": 0.15} if cooling.source == "measured here" else {}
        return CanPrior(standing_tau_s=cooling.value or COOLING_TAU_S, **own)

    @cached_property
    def charge_factor(self) -> float:
        """By how much charges put back say that runs take more than the model's charge."""
        residuals = self.run_residuals(self.logged)
        packs_run = {each.run.pack_id for each in residuals if each.run.pack_id}
        charged = {each: charging.charges(self.connection, each) for each in packs_run}
        return charge_factor(charge_pairs(residuals, charged))

    @cached_property
    def back_tests(self) -> list[BackTest]:
        """The back-test of the newest runs."""
        return run_back_tests(self.run_residuals(self.logged), BACK_TEST_RUNS, self.prior)

    def run_residuals(self, runs: Iterable[Run]) -> tuple[RunResidual, ...]:
        """Each run with its residuals against the model, oldest first."""
        runs = list(runs)
        laps = lap_store.laps_by_run(self.connection, [run.id for run in runs])
        return run_residuals(
            tuple(
                logged
                for run in runs
                if (
                    logged := logged_run(
                        run, self.driven_track, self.race_classes, laps.get(run.id, ())
                    )
                )
            ),
            self.plain_setup,
            self.inputs["cooling_tau_s"].value or COOLING_TAU_S,
        )

    @cached_property
    def setup(self) -> Setup:
        """The set-up with the gear fitted and all that was learned.

        Raises:
            ValueError: a figure that the model cannot take, in a sentence.
        """
        learned = self.learned
        return self.plain_setup.model_copy(
            update={
                "fitted_ratio": self.fitted.final_drive_ratio if self.fitted else None,
                "logged_ratios": learned.ratios,
                "can_fit": learned.can,
                "lap_fit": learned.laps,
                "widening": widening(self.back_tests),
                "charge_factor": self.charge_factor,
            }
        )

    @property
    def missing(self) -> Missing | None:
        """The first missing input other than the track."""
        if self.car is None:
            return Missing(
                "The forecast needs a car: its gears, tyres and motor.",
                "/kit/cars/new",
                "Add your car",
            )
        car = f"/kit/cars/{self.car.id}"
        if self.motor is None:
            return Missing(
                f"{self.car.name} has no motor yet: its Kv will do.", car, "Add the motor"
            )
        if self.gap:
            return missing_gears(self.gap)
        if not self.options:
            return Missing(
                "No pinion and spur in the box fit this car.", car, "Look at the car's limits"
            )
        try:
            _possible = self.plain_setup
        except ValueError as error:
            return Missing(str(error), f"/forecast/figures{self.query}", "The figures")
        return None

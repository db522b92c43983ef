"""One gear worked out: the question with all its numbers, and every figure that follows."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from pydantic import Field

from pitapp.dates import Moment
from pitapp.gearing.formulas import (
    FitLimits,
    GearOption,
    centre_distance_mm,
    final_drive_ratio,
    gear_options,
    longer_change,
    road_speed_kmh,
    rollout_mm,
    shared_tooth_period,
    shorter_change,
)
from pitapp.kit.models import Car, Motor, Teeth
from pitapp.kit.pitch import module_mm
from pitapp.motor.formulas import free_speed_rpm
from pitapp.record import Record


class GearFit(Record):
    """A gear fitted to a car: an entry of the log."""

    id: int = 0
    car_id: int
    pinion_teeth: Teeth
    spur_teeth: Teeth
    internal_ratio: float
    tyre_diameter_mm: float
    fitted_at: Moment
    remarks: str = ""

    @property
    def final_drive_ratio(self) -> float:
        """The final drive ratio as it was fitted."""
        return final_drive_ratio(self.spur_teeth, self.pinion_teeth, self.internal_ratio)

    def is_as(self, car: Car) -> bool:
        """Whether the car still has the internal ratio and the tyres that it had then."""
        return (self.internal_ratio, self.tyre_diameter_mm) == (
            car.internal_ratio,
            car.tyre_diameter_mm,
        )


class Question(Record):
    """A gear train, and what drives it as far as it is known. Ranges are those of `Car` and `Motor`."""

    pinion: Teeth = 40
    spur: Teeth = 72
    internal: float = Field(1.9, ge=0.2, le=20)
    tyre: float = Field(63.0, ge=10, le=400)
    kv: float | None = Field(None, ge=50, le=20_000)
    volts: float | None = Field(None, gt=0, le=60)
    rev_limit: float | None = Field(None, ge=500, le=200_000)
    pitch: str | None = None


class Answer(NamedTuple):
    """What a gear train does. Speeds are None where the motor or its limit is not known."""

    final_drive_ratio: float
    rollout_mm: float
    limit_speed_kmh: float | None
    free_speed_kmh: float | None
    free_speed_rpm: float | None
    centre_distance_mm: float | None
    tooth_sum: int
    shared_tooth_period: int

    @property
    def top_speed_kmh(self) -> float | None:
        """At the rev limit, or at free speed where that is lower."""
        known = [each for each in (self.limit_speed_kmh, self.free_speed_kmh) if each is not None]
        return min(known, default=None)


class GearBox(NamedTuple):
    """The gears at hand for a car, and what the car takes."""

    pinions: tuple[int, ...]
    spurs: tuple[int, ...]
    limits: FitLimits


def for_car(
    car: Car, motor: Motor | None, fitted: GearFit | None, box: GearBox | None = None
) -> Question:
    """The question about the gear now in the car; with none on record, about a middling one.

    That is the middle one of the pairs in the box, if any fits.
    """
    pair: GearFit | GearOption | None = fitted
    if pair is None and box and (choices := options(box, car.internal_ratio)):
        pair = choices[len(choices) // 2]
    teeth = {"pinion": pair.pinion_teeth, "spur": pair.spur_teeth} if pair else {}
    return Question(
        **teeth,
        internal=car.internal_ratio,
        tyre=car.tyre_diameter_mm,
        kv=motor.kv_rpm_per_v if motor else None,
        volts=car.pack_v,
        rev_limit=car.rev_limit_rpm,
        pitch=car.pitch,
    )


def answer(question: Question) -> Answer:
    """Work out every figure of a question.

    Raises:
        ValueError: the numbers make no car.
    """
    ratio = final_drive_ratio(question.spur, question.pinion, question.internal)
    rollout = rollout_mm(question.tyre, ratio)
    free = (
        free_speed_rpm(question.kv, question.volts)
        if question.kv is not None and question.volts is not None
        else None
    )
    return Answer(
        final_drive_ratio=ratio,
        rollout_mm=rollout,
        limit_speed_kmh=(
            None if question.rev_limit is None else road_speed_kmh(question.rev_limit, rollout)
        ),
        free_speed_kmh=None if free is None else road_speed_kmh(free, rollout),
        free_speed_rpm=free,
        centre_distance_mm=(
            None
            if question.pitch is None
            else centre_distance_mm(question.spur, question.pinion, module_mm(question.pitch))
        ),
        tooth_sum=question.spur + question.pinion,
        shared_tooth_period=shared_tooth_period(question.spur, question.pinion),
    )


def limits_of(car: Car) -> FitLimits:
    """What fits the car, as its slots and gears are described."""
    return FitLimits(
        least_tooth_sum=car.least_tooth_sum,
        most_tooth_sum=car.most_tooth_sum,
        least_centre_distance_mm=car.least_centre_distance_mm,
        most_centre_distance_mm=car.most_centre_distance_mm,
        module_mm=car.module_mm,
        smallest_pinion=car.smallest_pinion,
        largest_pinion=car.largest_pinion,
        smallest_spur=car.smallest_spur,
        largest_spur=car.largest_spur,
    )


@lru_cache(maxsize=64)
def options(box: GearBox, internal_ratio: float) -> tuple[GearOption, ...]:
    """Every pair of the box that fits, longest gear first."""
    return tuple(gear_options(box.pinions, box.spurs, internal_ratio, box.limits))


def neighbours(
    box: GearBox, question: Question, ratio: float
) -> tuple[GearOption | None, GearOption | None]:
    """The next longer and the next shorter pair from the box that are worth changing to."""
    pairs = options(box, question.internal)
    return longer_change(pairs, question.spur, ratio), shorter_change(pairs, question.spur, ratio)


def fit_problems(car: Car, pinion: int, spur: int) -> list[str]:
    """Why a pair does not fit the car: one sentence for each limit that it breaks."""
    distance = centre_distance_mm(spur, pinion, car.module_mm)
    total = pinion + spur
    return [
        *_outside("pinion", pinion, car.smallest_pinion, car.largest_pinion),
        *_outside("spur", spur, car.smallest_spur, car.largest_spur),
        *_outside("tooth sum", total, car.least_tooth_sum, car.most_tooth_sum),
        *_outside(
            "centre distance",
            distance,
            car.least_centre_distance_mm,
            car.most_centre_distance_mm,
            " mm",
        ),
    ]


def _outside(
    name: str, value: float, least: float | None, most: float | None, unit: str = ""
) -> Iterable[str]:
    if least is not None and value < least - 1e-9:
        yield f"The {name} {value:.5g}{unit} is under the car's {least:g}{unit}."
    if most is not None and value > most + 1e-9:
        yield f"The {name} {value:.5g}{unit} is over the car's {most:g}{unit}."

"""Gears, the pairs they make and the limits that a car sets on them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, NamedTuple, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, model_validator

from pitapp.limits import number, whole

LEAST_TEETH = 6
MOST_TEETH = 200
LEAST_MODULE_MM = 0.05
MOST_MODULE_MM = 10
MOST_CENTRE_DISTANCE_MM = 2000


class Gear(NamedTuple):
    """A pinion or spur of a known pitch: `teeth` 6–200, `module_mm` 0.05–10 mm.

    >>> Gear(45, 0.4)
    Gear(teeth=45, module_mm=0.4)
    """

    teeth: int
    module_mm: float


class GearOption(NamedTuple):
    """A pinion and a spur that can be fitted, with the final drive ratio that they give.

    >>> GearOption(45, 69, 2.9133333333333336).tooth_sum
    114
    """

    pinion_teeth: int
    spur_teeth: int
    final_drive_ratio: float
    module_mm: float | None = None

    @property
    def tooth_sum(self) -> int:
        """Teeth of pinion and spur together: the same sum is the same centre distance."""
        return self.pinion_teeth + self.spur_teeth


class NearOption(NamedTuple):
    """An option and its signed step from the wanted ratio in %: minus is longer, plus shorter."""

    option: GearOption
    step_percent: float


class Gap(NamedTuple):
    """A hole in a range of ratios: nothing between `low` and `high`, a step of `step_percent`."""

    low: float
    high: float
    step_percent: float


class Purchase(NamedTuple):
    """The gears to add, and what is known about the answer.

    Attributes:
        pinions: pinions to add, fewest teeth first, as they were given.
        spurs: spurs to add, fewest teeth first, as they were given.
        proved_minimal: no smaller number of gears does the same; else a good answer, unproved.
        gaps_left: holes that stay because not even all the candidates together close them.
    """

    pinions: tuple[int | Gear, ...]
    spurs: tuple[int | Gear, ...]
    proved_minimal: bool
    gaps_left: tuple[Gap, ...]

    @property
    def gears(self) -> int:
        """How many gears to add."""
        return len(self.pinions) + len(self.spurs)


def _whole(
    name: str, low: int, high: int, unit: str = "teeth"
) -> Callable[[int | None], int | None]:
    return lambda value: None if value is None else whole(value, name, low, high, unit=unit)


def _number(name: str, low: float, high: float) -> Callable[[float | None], float | None]:
    return lambda value: None if value is None else number(value, name, low, high, unit="mm")


class FitLimits(BaseModel):
    """What fits a car; every limit may be left out.

    Teeth 6–200 each and 12–400 together, centre distance 0–2000 mm, module 0.05–10 mm. Centre
    distances need the module. Gears given as plain numbers have the pitch `module_mm`; with a
    module set, no gear of another pitch fits.

    Raises:
        pydantic.ValidationError (a ValueError): a limit outside its range, a least above its most,
            or a centre distance without the module.

    >>> FitLimits(most_tooth_sum=120, largest_pinion=48).most_tooth_sum
    120
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    least_tooth_sum: Annotated[
        int | None, BeforeValidator(_whole("least tooth sum", 2 * LEAST_TEETH, 2 * MOST_TEETH))
    ] = None
    most_tooth_sum: Annotated[
        int | None, BeforeValidator(_whole("most tooth sum", 2 * LEAST_TEETH, 2 * MOST_TEETH))
    ] = None
    least_centre_distance_mm: Annotated[
        float | None, BeforeValidator(_number("least centre distance", 0, MOST_CENTRE_DISTANCE_MM))
    ] = None
    most_centre_distance_mm: Annotated[
        float | None, BeforeValidator(_number("most centre distance", 0, MOST_CENTRE_DISTANCE_MM))
    ] = None
    module_mm: Annotated[
        float | None, BeforeValidator(_number("module", LEAST_MODULE_MM, MOST_MODULE_MM))
    ] = None
    smallest_pinion: Annotated[
        int | None, BeforeValidator(_whole("smallest pinion", LEAST_TEETH, MOST_TEETH))
    ] = None
    largest_pinion: Annotated[
        int | None, BeforeValidator(_whole("largest pinion", LEAST_TEETH, MOST_TEETH))
    ] = None
    smallest_spur: Annotated[
        int | None, BeforeValidator(_whole("smallest spur", LEAST_TEETH, MOST_TEETH))
    ] = None
    largest_spur: Annotated[
        int | None, BeforeValidator(_whole("largest spur", LEAST_TEETH, MOST_TEETH))
    ] = None

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for name, least, most in (
            ("tooth sum", self.least_tooth_sum, self.most_tooth_sum),
            ("centre distance", self.least_centre_distance_mm, self.most_centre_distance_mm),
            ("pinion", self.smallest_pinion, self.largest_pinion),
            ("spur", self.smallest_spur, self.largest_spur),
        ):
            if least is not None and most is not None and least > most:
                raise ValueError(f"The lower limit of the {name} is above its upper limit.")
        wants_distance = (self.least_centre_distance_mm, self.most_centre_distance_mm) != (
            None,
            None,
        )
        if wants_distance and self.module_mm is None:
            raise ValueError("Limits on the centre distance need the module of the gears.")
        return self

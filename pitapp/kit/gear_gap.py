"""What the gear box lacks for a car, in words, and the ways out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pitapp.kit.models import Car, Gear
from pitapp.kit.pitch import pitch_label


class GearGap(NamedTuple):
    """Why no pinion and spur of the box go together in a car; each way out is a label and an address."""

    title: str
    sentence: str
    ways: tuple[tuple[str, str], ...]
    other_pitch: bool
    """Whether what lacks is in the box, but in another pitch."""


def gear_gap(car: Car, gears: Sequence[Gear]) -> GearGap | None:
    """What `gears`, the whole box, lacks for `car`; None where it has a pinion and a spur.

    >>> car = Car(id=1, name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    >>> gear_gap(car, [Gear(kind="pinion", teeth=20, pitch="dp:48")]).sentence
    'The one gear in it is 48 DP, Invented TC is set to 64 DP.'
    """
    there = {gear.kind for gear in gears if gear.pitch == car.pitch}
    lacking = [kind for kind in ("pinion", "spur") if kind not in there]
    if not lacking:
        return None
    noun, query = ("gear", "") if len(lacking) == 2 else (lacking[0], f"&kind={lacking[0]}")
    label, add = car.pitch_label, f"/kit/gears?pitch={car.pitch}{query}"
    if not gears:
        sentence = "Add the pinions and spurs you own to see what fits."
        return GearGap("Your gear box is empty", sentence, (("Add your gears", add),), False)
    title = f"No {label} {noun}s in your box"
    others = [gear for gear in gears if gear.kind in lacking and gear.pitch != car.pitch]
    more = (f"Add {label} {noun}s", add)
    if not others:
        return GearGap(title, f"Add the {noun}s you own to see what fits.", (more,), False)
    pitches = " and ".join(dict.fromkeys(pitch_label(gear.pitch) for gear in others))
    many = f"{len(others)} {noun}s in it are" if len(others) > 1 else f"one {noun} in it is"
    return GearGap(
        title,
        f"The {many} {pitches}, {car.name} is set to {label}.",
        (("Change the car's pitch", f"/kit/cars/{car.id}#pitch"), more),
        True,
    )

"""The first input that the forecast lacks: a sentence, and links to where it is typed."""

from __future__ import annotations

from typing import NamedTuple

from pitapp.kit.gear_gap import GearGap


class Missing(NamedTuple):
    """What the forecast lacks; each further way out is a label and an address."""

    sentence: str
    href: str
    label: str
    others: tuple[tuple[str, str], ...] = ()


def missing_gears(gap: GearGap) -> Missing:
    """A box without a pinion and a spur for the car, as what is missing."""
    *others, (label, href) = gap.ways
    return Missing(f"{gap.title}. {gap.sentence}", href, label, tuple(others))

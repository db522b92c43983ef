"""The profiles of a controller: which is in use, and which one a reading looks like. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from pitapp.checks.engine import same
from pitapp.checks.models import Profile, Step


class OtherPlan(NamedTuple):
    """What another profile plans at the settings, by their ids."""

    profile: Profile
    planned: Mapping[int, str]


def in_use(profiles: Sequence[Profile], race_class_id: int | None) -> Profile:
    """The profile that goes with the class raced, else the one that was chosen last, else the first.

    >>> first, wet = Profile(), Profile(id=2, number=2, race_class_id=7)
    >>> in_use([first, wet], 7).number, in_use([first, wet], 8).number
    (2, 1)
    """
    by_class = (each for each in profiles if race_class_id and each.race_class_id == race_class_id)
    chosen = (each for each in profiles if each.chosen)
    return next(by_class, None) or next(chosen, None) or profiles[0]


def looks_like(step: Step, text: str, others: Iterable[OtherPlan]) -> Profile | None:
    """The other profile that plans what was read, where that is not what is planned here."""
    if not text or (step.planned and same(text, step.planned)):
        return None
    for profile, planned in others:
        expected = planned.get(step.id, "")
        if expected and same(text, expected):
            return profile
    return None


def profile_question(profile: Profile) -> str:
    """What is asked about a reading that another profile plans."""
    return f"That looks like {profile.title[:1].lower()}{profile.title[1:]}. Is it right?"

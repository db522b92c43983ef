"""Which settings a run-through goes through: all, what it takes to race, what is planned, what a reset undoes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from pitapp.checks.engine import number_of, same
from pitapp.checks.models import Limit, Scope, Step
from pitapp.checks.starting_list import LEGAL

NEAR = 1e-9


def in_scope(steps: Sequence[Step], scope: Scope, limits: Mapping[str, Limit]) -> list[Step]:
    """The steps that a run-through of that scope goes through, in their order.

    Args:
        steps: all settings of the controller, as planned.
        scope: "legal" takes what it takes to race: what the class limits, the signal of a limited rev
            limit, what the group "legal" asks by yes or no, and what is required in another group; without
            any limit, that group and what is required. "planned" takes what has a
            plan; "reset" what has one that differs from the maker's default, or whose default is
            not noted.
        limits: what the class asks, by a step's key.
    """
    if scope == "planned":
        return [each for each in steps if _planned(each)]
    if scope == "reset":
        return [each for each in steps if _planned(each) and not as_from_maker(each)]
    if scope == "legal":
        limited = any(each.key in limits for each in steps)
        return [each for each in steps if _legal(each, limits if limited else None)]
    return list(steps)


def offered(steps: Sequence[Step], limits: Mapping[str, Limit]) -> dict[Scope, int]:
    """The scopes that are shorter than the whole list, with their number of steps.

    One "after a reset" is offered once a maker's default is noted.
    """
    counts: dict[Scope, int] = {}
    for scope in SHORTER:
        if scope == "reset" and not any(each.maker_default for each in steps):
            continue
        number = len(in_scope(steps, scope, limits))
        if 0 < number < len(steps):
            counts[scope] = number
    return counts


SHORTER: tuple[Scope, ...] = ("legal", "planned", "reset")


def as_from_maker(step: Step) -> bool:
    """Whether the plan is what the maker sets, as far as that is noted."""
    return bool(step.maker_default) and same(step.planned, step.maker_default)


def outside_range(step: Step, text: str, known: Iterable[str] = ()) -> bool:
    """Whether a reading lies outside the noted range and is none of those known already.

    >>> step = Step(name="Drag brake", kind="number", range_least=0, range_most=50)
    >>> outside_range(step, "60"), outside_range(step, "50"), outside_range(step, "60", ["60"])
    (True, False, False)
    """
    value = number_of(text)
    if value is None or any(same(text, each) for each in known if each):
        return False
    slack = NEAR * max(1.0, abs(value))
    low = step.range_least is not None and value < step.range_least - slack
    return low or (step.range_most is not None and value > step.range_most + slack)


def differing(steps: Iterable[Step], read: Collection[int]) -> list[Step]:
    """What is planned and was not read."""
    return [each for each in steps if _planned(each) and each.id not in read]


def _planned(step: Step) -> bool:
    return bool(step.planned) and step.kind != "do"


def _legal(step: Step, limits: Mapping[str, Limit] | None) -> bool:
    own = step.group_name.casefold() == LEGAL
    if limits is None:
        return own or step.required
    if step.key in limits or (step.required and not own):
        return True
    if step.topic == "signal":
        return "rev_limit" in limits
    return own and step.kind == "yesno" and not step.topic

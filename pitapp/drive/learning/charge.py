"""What a run takes from the pack, learned from what charges have put back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import exp, log

from pitapp.drive.learning.linear import student_weight
from pitapp.drive.learning.run_history import RunResidual
from pitapp.packs.models import Charge

BELIEVED_SPREAD = 0.25
"""Of the logarithm of true over modelled charge, before any charge was logged; from memory."""
CHARGE_SPREAD = 0.10
"""Of one charge: driving that was not logged, charging losses, where it was stopped; from memory."""
_FREEDOM = 4.0
_STEPS = 20


def charge_factor(pairs: Sequence[tuple[float, float]]) -> float:
    """By how much the model's charge has to be multiplied, from (put back, modelled) in mAh.

    The mean of ln(put back / modelled) with Student-t errors, drawn towards none by what was
    believed.

    >>> charge_factor([]), round(charge_factor([(1500, 1000), (1600, 1000), (90, 1000)]), 2)
    (1.0, 1.49)
    """
    logs = [log(back / modelled) for back, modelled in pairs if back > 0.0 and modelled > 0.0]
    if not logs:
        return 1.0
    centre = sorted(logs)[len(logs) // 2]
    for _ in range(_STEPS):
        pulls = [student_weight(each - centre, CHARGE_SPREAD, _FREEDOM) for each in logs]
        weights = [pull / CHARGE_SPREAD**2 for pull in pulls]
        total = sum(w * each for w, each in zip(weights, logs, strict=True))
        centre = total / (sum(weights) + BELIEVED_SPREAD**-2)
    return exp(centre)


def charge_pairs(
    run_residuals: Sequence[RunResidual], charges: Mapping[int, Sequence[Charge]]
) -> list[tuple[float, float]]:
    """(mAh that a full charge put back, mAh that the runs since the last one took by the model).

    Args:
        run_residuals: runs beside the model.
        charges: by pack, newest first.
    """
    pairs: list[tuple[float, float]] = []
    for pack_id, listed in charges.items():
        full = [
            (each.started_at, each.ended_at or each.started_at, each.moved_mah)
            for each in listed
            if each.outcome == "done" and each.purpose == "full" and each.started_at
        ]
        for (began, _, put_back), (_, ended, _) in pairwise(full):
            taken = sum(
                each.charge_mah or 0.0
                for each in run_residuals
                if each.run.pack_id == pack_id and ended <= each.run.started_at <= began
            )
            if put_back and taken:
                pairs.append((put_back, taken))
    return pairs

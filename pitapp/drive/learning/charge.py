"""What a run takes from the pack, learned from what charges have put back."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log

from pitapp.drive.learning.linear import student_weight

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
    found = sorted(logs)[len(logs) // 2]
    for _ in range(_STEPS):
        pulls = [student_weight(each - found, CHARGE_SPREAD, _FREEDOM) for each in logs]
        weights = [pull / CHARGE_SPREAD**2 for pull in pulls]
        total = sum(w * each for w, each in zip(weights, logs, strict=True))
        found = total / (sum(weights) + BELIEVED_SPREAD**-2)
    return exp(found)

"""What the log says beside the model: time in the corners, and charges put back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from pitapp.drive.learn_from_runs import Lesson, best_lap_s
from pitapp.drive.learning.corners import with_corners_from_laps
from pitapp.drive.logged_run import LoggedRun
from pitapp.drive.models import Setup, Track
from pitapp.packs.models import Charge


def corners_by_runs(track: Track, runs: Sequence[LoggedRun], setup: Setup) -> Track:
    """The track with its corners' time from the best laps of runs on it."""
    misses, modelled_s = [], 0.0
    for run in runs:
        if run.best_lap_s is None:
            continue
        try:
            modelled_s = best_lap_s(setup, run)
        except ValueError:
            continue
        misses.append(run.best_lap_s - modelled_s)
    return with_corners_from_laps(track, misses, modelled_s)


def put_back_and_taken(
    lessons: Sequence[Lesson], charges: Mapping[int, Sequence[Charge]]
) -> list[tuple[float, float]]:
    """(mAh that a full charge put back, mAh that the runs since the last one took by the model).

    Args:
        lessons: runs beside the model.
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
                for each in lessons
                if each.run.pack_id == pack_id and ended <= each.run.started_at <= began
            )
            if put_back and taken:
                pairs.append((put_back, taken))
    return pairs

"""Three heard passes make the forecast's top speed better for invented racers whose cars obey other physics.

`PITAPP_HEARD` is how many racers; their seed was not used while tuning.
"""

from __future__ import annotations

import os

import numpy as np

from tests.racers.heard import listen

RACERS = int(os.environ.get("PITAPP_HEARD", "18"))
SEED = 70_001


def test_three_passes_leave_two_thirds_of_a_large_error_and_add_none_elsewhere() -> None:
    worth = listen(SEED, RACERS)
    large, small = worth.large, np.logical_not(worth.large)
    assert large.sum() >= RACERS / 6
    assert small.sum() >= RACERS / 6
    assert worth.after[large].mean() <= 2 / 3 * worth.before[large].mean()
    assert worth.after[small].mean() <= worth.before[small].mean()
    cans, regrets = worth.cans, worth.regrets
    assert cans[1].mean() <= 1.03 * cans[0].mean()
    assert np.nanmean(regrets[1]) <= np.nanmean(regrets[0]) + 0.01

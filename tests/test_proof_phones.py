"""Thirty paired phones on a busy day, in short: nothing confirmed is lost, no stranger comes in.

How long they wait, and whether the memory stays flat over hours, is for `python -m tests.soak`.
"""

from __future__ import annotations

from pathlib import Path

from tests.soak.day import soak

PHONES = 30
MOST_MIB = 8.0


def test_thirty_phones_on_a_busy_day(tmp_path: Path) -> None:
    report = soak(tmp_path, PHONES, hours=0.05, speed=10, kept=True)
    assert report.stranger == (401 if report.from_outside else 200)
    assert set(report.answers) <= {200, 303, 400, 409}, report.answers
    assert sum(report.confirmed.values()) >= PHONES
    assert len([kind for kind, many in report.confirmed.items() if many]) >= 3
    assert report.lost == []
    assert report.twice == []
    assert report.sound
    assert report.end_mib - report.begin_mib < MOST_MIB

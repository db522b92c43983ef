"""Soaks the server and prints what came of it."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path
from statistics import median

from tests.soak.day import Report, soak

PHONES, HOURS, SPEED = 30, 2.0, 10.0


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    parser.add_argument("--phones", type=int, default=PHONES)
    parser.add_argument("--hours", type=float, default=HOURS, help="of race day")
    parser.add_argument("--speed", type=float, default=SPEED, help="how many times as fast")
    parser.add_argument("--kept", action="store_true", help="with what phones keep over https")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        report = soak(Path(folder), given.phones, given.hours, given.speed, kept=given.kept)
    print(told(report))
    return 0 if holds(report) else 1


def holds(report: Report) -> bool:
    """Whether everything that is promised was kept."""
    return (
        report.p99_s <= report.limit_s
        and report.flat
        and report.sound
        and not report.lost
        and not report.twice
        and not any(status >= 500 for status in report.answers)
    )


def told(report: Report) -> str:
    """The report in lines."""
    where = (
        f"from outside; an unpaired one gets {report.stranger}"
        if report.from_outside
        else "from this machine, which has no other address: the guard was not passed"
    )
    slowest = sorted(report.by_path.items(), key=lambda item: -median(item[1]))
    lines = [
        f"{report.phones} phones, {where}",
        f"{len(report.times_s)} requests, answered {dict(sorted(report.answers.items()))}",
        f"median {report.median_s * 1000:.1f} ms, p99 {report.p99_s * 1000:.1f} ms, "
        f"at most {report.limit_s * 1000:.0f} ms",
        f"memory {report.begin_mib:.1f} MiB after the warm-up, {report.end_mib:.1f} MiB at the end: "
        + ("flat" if report.flat else "GROWN"),
        f"confirmed {dict(report.confirmed)}, lost {len(report.lost)}, twice {len(report.twice)}, "
        f"database {'sound' if report.sound else 'DAMAGED'}",
        *(
            f"  {median(times) * 1000:7.1f} ms median {max(times) * 1000:7.1f} worst "
            f"{len(times):6} × {kind}"
            for kind, times in slowest
        ),
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())

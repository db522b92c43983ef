"""What follows from a track's figures and from the runs there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitapp.tracks.models import Track
from pitapp.tracks.start import GearRecord, StartingGear, TrackRun, gear_records, starting_gear

if TYPE_CHECKING:
    from pitapp.drive import models as drive

__all__ = [
    "GearRecord",
    "StartingGear",
    "TrackRun",
    "corner_times_s",
    "filled_in",
    "for_drive",
    "gear_records",
    "starting_gear",
]

KMH_PER_M_S = 3.6


def corner_times_s(track: Track) -> tuple[float, ...]:
    """The seconds spent in the corner behind each straight.

    What the lap has beside its straights is shared out equally, and each share is driven at its
    corner's speed: (lap length − straights) / number of straights / exit speed. Without a lap
    length all are 0 s.

    Source: from memory, a rough share; lap times that were logged are better.

    >>> from pitapp.tracks.models import Straight
    >>> straights = (Straight(length_m=40, entry_kmh=30, exit_kmh=36),) * 2
    >>> corner_times_s(Track(name="A", lap_length_m=200, straights=straights))
    (6.0, 6.0)
    """
    if track.lap_length_m is None or not track.straights:
        return (0.0,) * len(track.straights)
    share_m = (track.lap_length_m - track.straight_length_m) / len(track.straights)
    return tuple(share_m * KMH_PER_M_S / straight.exit_kmh for straight in track.straights)


def for_drive(track: Track) -> drive.Track:
    """The track as the drive model takes it: metres, m/s, and the time in the corners.

    Raises:
        ValueError: the track has no straights yet.

    >>> from pitapp.tracks.models import Straight
    >>> for_drive(Track(name="A", straights=(Straight(length_m=40, entry_kmh=36, exit_kmh=18),)))
    Track(straights=(Straight(length_m=40.0, entry_speed_m_s=10.0, exit_speed_m_s=5.0, corner_s=0.0),))
    """
    from pitapp.drive import models as drive

    return drive.Track(
        straights=tuple(
            drive.Straight(
                length_m=straight.length_m,
                entry_speed_m_s=straight.entry_kmh / KMH_PER_M_S,
                exit_speed_m_s=straight.exit_kmh / KMH_PER_M_S,
                corner_s=corner_s,
            )
            for straight, corner_s in zip(track.straights, corner_times_s(track), strict=True)
        )
    )


def filled_in(
    rows: list[tuple[float, float | None, float | None]],
) -> list[tuple[float, float, float]] | None:
    """Straights (length, entry, exit) with a missing speed taken from the corner that both share.

    The speed out of a straight is that into the next, round the lap. None if no speed is known.

    >>> filled_in([(40, None, 30), (25, None, 28)])
    [(40, 28, 30), (25, 30, 28)]
    """
    entries = [entry for _, entry, _ in rows]
    exits = [leaving for _, _, leaving in rows]
    if all(speed is None for speed in (*entries, *exits)):
        return None
    many = len(rows)
    for _ in range(many):
        for i in range(many):
            if entries[i] is None:
                entries[i] = exits[i - 1]
            if exits[i] is None:
                exits[i] = entries[(i + 1) % many]
        for i in range(many):
            if entries[i] is None:
                entries[i] = exits[i]
            if exits[i] is None:
                exits[i] = entries[i]
    return [
        (length, entry or 0, leaving or 0)
        for (length, _, _), entry, leaving in zip(rows, entries, exits, strict=True)
    ]

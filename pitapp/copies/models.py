"""What is known of a copy without trusting it."""

from __future__ import annotations

from datetime import datetime

from pitapp.record import Record


class CopyFile(Record):
    """A copy in the data folder."""

    name: str
    why: str
    made_at: datetime
    bytes: int

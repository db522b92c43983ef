"""Devices and pairing codes."""

from __future__ import annotations

from datetime import datetime

from pitapp.record import Record


class Device(Record):
    """A device that was let in."""

    id: int = 0
    name: str
    address: str = ""
    paired_at: datetime
    last_seen_at: datetime


class Code(Record):
    """A one-time code that lets a device in until it expires."""

    id: int = 0
    code: str
    expires_at: datetime

    @property
    def spaced(self) -> str:
        """The code as it is read out: in two halves."""
        return f"{self.code[:4]} {self.code[4:]}"

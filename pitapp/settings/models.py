"""A setting as it is kept."""

from __future__ import annotations

from pydantic import Field, model_validator

from pitapp.meetings.models import known_zone
from pitapp.record import Record


class StoredSetting(Record):
    """A named value: a short text, for which every screen has one to fall back on."""

    name: str = Field(min_length=1, max_length=60)
    value: str = Field(max_length=200)

    @model_validator(mode="after")
    def _is_one(self) -> StoredSetting:
        if self.name == "time_zone" and self.value:
            known_zone(self.value)
        return self

"""The base of every model that the rooms keep and pass on."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Record(BaseModel):
    """Frozen, exact about its fields, finite, built on first use."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        defer_build=True,
        str_strip_whitespace=True,
        allow_inf_nan=False,
    )

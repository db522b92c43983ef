"""The base of every model that the rooms keep and pass on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

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


def finding_sentence(finding: Mapping[str, Any]) -> str:
    """What one finding of pydantic's `errors()` says, in the words of the model that raised it."""
    return str(finding["msg"]).removeprefix("Value error, ")

"""A photograph, and the picture in it."""

from __future__ import annotations

import base64
import binascii
import re

from pydantic import Field, model_validator

from pitapp.dates import Moment
from pitapp.record import Record
from pitapp.runs.photographs.jpeg import MOST_PX, Picture, bare_jpeg

MOST_BYTES = 200_000  # as in static/js/photographs.js, which makes them
_WRITTEN = re.compile(r"[A-Za-z0-9_-]+={0,2}", re.ASCII)


class Photograph(Record):
    """What is known of a photograph; the picture is kept under the same number."""

    id: int = 0
    run_id: int | None = None
    car_id: int | None = None
    caption: str = Field("", max_length=200)
    width_px: int = Field(ge=1, le=MOST_PX)
    height_px: int = Field(ge=1, le=MOST_PX)
    size_bytes: int = Field(ge=1, le=MOST_BYTES)
    added_at: Moment

    @model_validator(mode="after")
    def _of_one(self) -> Photograph:
        if (self.run_id is None) == (self.car_id is None):
            raise ValueError("A photograph belongs to a run, or to the set-up of a car.")
        return self


class PhotographData(Record):
    """The picture as it is written down."""

    jpeg: str

    @model_validator(mode="after")
    def _is_one(self) -> PhotographData:
        picture_in(self.jpeg)
        return self


def written(data: bytes) -> str:
    """Bytes as text that passes through forms and files unchanged (base64url, RFC 4648).

    >>> written(b"\\xff\\xd8\\xff")
    '_9j_'
    """
    return base64.urlsafe_b64encode(data).decode("ascii")


def picture_in(text: str) -> Picture:
    """The picture that was written so, bare of all beside it.

    Raises:
        ValueError: it is none, or larger than 200 kB.
    """
    if len(text) > MOST_BYTES * 4 // 3 + 4:
        raise ValueError(
            "This photograph is larger than 200 kB. Take it with this page's scripts on."
        )
    if not _WRITTEN.fullmatch(text):
        raise ValueError("Choose a photograph first.")
    try:
        data = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except (binascii.Error, ValueError):
        raise ValueError("This photograph did not arrive whole. Choose it again.") from None
    return bare_jpeg(data)

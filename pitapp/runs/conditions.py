"""How the track was in a run: its temperature, and grip, wind, dust and wet in three words each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, Protocol

Grip = Literal["low", "medium", "high"]
Wind = Literal["none", "light", "strong"]
Dust = Literal["none", "some", "much"]
Wet = Literal["dry", "damp", "wet"]

WORDS: Mapping[str, Mapping[str, str]] = {
    "grip": {"low": "low grip", "medium": "medium grip", "high": "high grip"},
    "wind": {"none": "no wind", "light": "light wind", "strong": "strong wind"},
    "dust": {"none": "no dust", "some": "some dust", "much": "much dust"},
    "wet": {"dry": "dry", "damp": "damp", "wet": "wet"},
}
"""Each word as it is kept, and as it stands in a line."""
NAMES = ("track_c", *WORDS)


class Conditions(Protocol):
    """What has conditions: a run, or its line of the log."""

    @property
    def grip(self) -> Grip | None: ...
    @property
    def wind(self) -> Wind | None: ...
    @property
    def dust(self) -> Dust | None: ...
    @property
    def wet(self) -> Wet | None: ...


def conditions_text(item: Conditions) -> str:
    """The conditions that were noted, in one line; empty without any.

    >>> from types import SimpleNamespace
    >>> conditions_text(SimpleNamespace(grip="high", wind=None, dust="some", wet="dry"))
    'high grip, some dust, dry'
    """
    noted = ((words, getattr(item, name)) for name, words in WORDS.items())
    return ", ".join(words[word] for words, word in noted if word)

"""What a request's fields hold, without characters that nobody types and nobody sees.

They come with what was pasted from elsewhere, or are posted by hand; on record they would break tables
for a spreadsheet, and a name with one in it reads like another. What comes along with nearly every copy
goes without a word, all else is said at its field.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from werkzeug.datastructures import ImmutableMultiDict

UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)
"""Control characters but for tab and line ends, changes of direction (Unicode's Bidi_Control, but for
the marks that Arabic and Hebrew are typed with), halves of a pair (surrogates), non-characters."""
ALONG = re.compile(
    "[\u00ad\u034f\u115f\u1160\u17b4\u17b5\u200b\u2060-\u2064\u206a-\u206f\u3164\ufeff\uffa0\ufff9-\ufffb]"
)
"""Soft hyphens, spaces and joiners without width, byte order marks, fillers (Unicode Standard, 18.6 and 23)."""
JOINER_TWICE = re.compile("([\u200c\u200d])\\1+")
NOT_IN_ONE_LINE = re.compile("[\t\n\r\u0085\u2028\u2029]+")
MARKS = re.compile("[\u061c\u200e\u200f]")
_JOINS = "[\u0600-\u08ff\u0900-\u0dff\u1000-\u109f\u1780-\u18af]"
"""Arabic and its like, the scripts of India, of Burma, Khmer and Mongolian: a joiner shapes their letters."""
_PICTURE = "[\u00a9\u00ae\u2190-\u2bff\ufe0f\U0001f000-\U0001faff]"
LONE_JOINER = re.compile(
    f"(?<!{_JOINS})(?<!{_PICTURE})[\u200c\u200d]"
    f"|(?<={_JOINS})\u200c(?!{_JOINS})|(?<={_PICTURE})(?:\u200c|\u200d(?!{_PICTURE}))"
)
"""A joiner (U+200D) or its opposite (U+200C) that neither shapes a letter nor makes one picture of two."""


class TypedText(ImmutableMultiDict[str, Any]):
    """The fields of a request; `cleaned` are the names of those that held such a character."""

    def __init__(self, pairs: Iterable[tuple[str, Any]] | None = None) -> None:
        cleaned: set[str] = set()
        taken = []
        for name, value in pairs or ():
            if isinstance(value, str) and UNSEEN.search(value):
                cleaned.add(name)
                value = UNSEEN.sub("", value)
            taken.append((name, _as_seen(value) if isinstance(value, str) else value))
        super().__init__(taken)
        self.cleaned = frozenset(cleaned)


def _as_seen(text: str) -> str:
    """The text without what came along; marks of direction stay in texts of several lines.

    >>> _as_seen("Heat" + chr(0x200B) + " 1" + chr(0x200F))
    'Heat 1'
    """
    if text.isascii():
        return text
    text = LONE_JOINER.sub("", JOINER_TWICE.sub(r"\1", ALONG.sub("", text)))
    return text if NOT_IN_ONE_LINE.search(text) else MARKS.sub("", text)


def in_one_line(text: str) -> str:
    """The text in one line, and without marks of direction.

    >>> in_one_line("Heat" + chr(9) + "1" + chr(0x200F))
    'Heat 1'
    """
    return MARKS.sub("", NOT_IN_ONE_LINE.sub(" ", text))

"""What a request's fields hold, without characters that nobody types and nobody sees.

They come with what was pasted from elsewhere, or are posted by hand; on record they would break tables
for a spreadsheet, and a name with a change of direction in it reads like another.
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
NOT_IN_ONE_LINE = re.compile("[\t\n\r\u0085\u2028\u2029]+")
MARKS = re.compile("[\u061c\u200e\u200f]")


class TypedText(ImmutableMultiDict[str, Any]):
    """The fields of a request; `cleaned` are the names of those that held such a character."""

    def __init__(self, pairs: Iterable[tuple[str, Any]] | None = None) -> None:
        cleaned: set[str] = set()
        taken = []
        for name, value in pairs or ():
            if isinstance(value, str) and UNSEEN.search(value):
                cleaned.add(name)
                taken.append((name, UNSEEN.sub("", value)))
            else:
                taken.append((name, value))
        super().__init__(taken)
        self.cleaned = frozenset(cleaned)


def in_one_line(text: str) -> str:
    """The text in one line, and without marks of direction.

    >>> in_one_line("Heat" + chr(9) + "1" + chr(0x200F))
    'Heat 1'
    """
    return MARKS.sub("", NOT_IN_ONE_LINE.sub(" ", text))

"""Which way a set-up value went, in a word of the trade, where the direction has one meaning only."""

from __future__ import annotations

import re

GRADES = ("very soft", "soft", "medium soft", "medium", "medium hard", "hard", "very hard")
# What the name says, units in which a larger number means the second word, and the two words.
_BY_NUMBER: tuple[tuple[str, str, tuple[str, str]], ...] = (
    (r"\bsprings?\b", r"|.*/.*|mm", ("softer", "stiffer")),
    (r"\boils?\b|\bfluid\b", r".*", ("thinner", "thicker")),
    (r"\broll bars?\b|\banti-?roll bars?\b|\barb\b", r"mm", ("thinner", "thicker")),
    (r"\bheight\b", r".*", ("lower", "higher")),
    (r"\bweights?\b|\bballast\b|\bmass\b", r".*", ("lighter", "heavier")),
)
_NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?\Z")


def as_number(text: str) -> float | None:
    """The number that a value is, or None for a word.

    >>> as_number("2,6"), as_number("−1.5"), as_number("soft")
    (2.6, -1.5, None)
    """
    tidy = text.strip()
    if not _NUMBER.match(tidy):
        return None
    return float(tidy.replace("−", "-").replace(",", "."))


def direction_word(name: str, before: str, after: str, unit: str = "") -> str:
    """ "softer", "thicker", "lower" and their like; "same" for no change; else empty.

    The word is given only where a larger number (or a harder grade) can mean one thing: springs by
    their rate or wire, oils by viscosity, roll bars by diameter, heights and weights. Common
    practice, no source.

    >>> direction_word("Springs", "2.6", "2.4"), direction_word("Oil", "350", "400")
    ('softer', 'thicker')
    >>> direction_word("Camber", "-1", "-2")
    ''
    >>> direction_word("Springs", "soft", "medium"), direction_word("Springs", "2,60", "2.6")
    ('stiffer', 'same')
    >>> direction_word("Springs", "6", "7", "coils"), direction_word("Roll bar", "1.2", "1.4", "mm")
    ('', 'thicker')
    """
    old, new = as_number(before), as_number(after)
    if before.strip().casefold() == after.strip().casefold() or (old is not None and old == new):
        return "same"
    if old is not None and new is not None:
        for pattern, units, words in _BY_NUMBER:
            if re.search(pattern, name, re.IGNORECASE) and re.fullmatch(units, unit):
                return words[new > old]
        return ""
    grades = [_grade(before), _grade(after)]
    if None in grades or grades[0] == grades[1]:
        return ""
    harder = GRADES.index(str(grades[1])) > GRADES.index(str(grades[0]))
    spring = re.search(r"\bspring", name, re.IGNORECASE)
    return ("stiffer" if spring else "harder") if harder else "softer"


def _grade(text: str) -> str | None:
    tidy = " ".join(text.casefold().replace("-", " ").split())
    return tidy if tidy in GRADES else None

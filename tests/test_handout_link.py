"""What is handed out as text: packed small, read with care."""

from __future__ import annotations

import base64
import zlib

import pytest

from pitapp.errors import Refused
from pitapp.handout import link
from pitapp.handout.models import HandOut
from tests.handed import ALL, CLASS, CLUB, damaged, hostile, written

DAMAGED_LINKS = 240


@pytest.mark.parametrize("name", ALL)
def test_what_was_packed_is_read_again(name: str) -> None:
    text = link.packed(ALL[name])
    assert link.read(text) == ALL[name]
    for around in (
        "https://club.example/pit/#/handout/take#{}",
        "\n {} \n",
        "http://[::1]:8510/x#{}",
    ):
        assert link.read(around.format(text)) == ALL[name]
    broken_into_lines = "\n".join(text[at : at + 30] for at in range(0, len(text), 30))
    assert link.read(broken_into_lines) == ALL[name]


def test_a_link_is_made_of_letters_that_no_address_changes() -> None:
    assert set(link.packed(CLUB)) <= set(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_."
    )


def test_the_layout_is_read_without_pitapp() -> None:
    """RFC 4648 (base64url) around RFC 1950 (zlib with a dictionary) around RFC 8259 (JSON)."""
    body = link.packed(HandOut(race_class=CLASS)).removeprefix("1.")
    unpacker = zlib.decompressobj(zdict=link.WORDS)
    content = unpacker.decompress(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4)))
    assert b'"name":"Invented Stock"' in content
    for word in (b'"id"', b'"version"', b'"remarks"'):
        assert word not in content


def test_a_link_of_the_first_day_is_read_for_good() -> None:
    """A square on a wall outlives many versions: this text must never be read otherwise."""
    printed = (
        "1.ePnB2iDzw6HQM68MGNSpKQrBJfnACMTQZmhiZoAcJPjDDRE-hsZ6pgolpUV5xfhDCjlQ"
        "EKHikZiXkl9aomBsREb4YCaQcKCbFJIz8otS0JIKJIWYALXVxtbWAgDO3F6v"
    )
    assert link.read(printed) == HandOut(race_class=CLASS)


def test_damaged_links_are_refused() -> None:
    refused = 0
    for text in damaged(DAMAGED_LINKS):
        with pytest.raises(Refused):
            link.read(text)
        refused += 1
    assert refused == DAMAGED_LINKS


@pytest.mark.parametrize(
    "text", list(hostile()), ids=lambda text: text[:24].encode("ascii", "replace").decode()
)
def test_hostile_links_are_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(Refused) as refused:
        link.read(text)
    assert str(refused.value)[0].isupper()
    assert str(refused.value).endswith(".")
    assert len(str(refused.value)) < 200


def test_a_link_is_no_way_to_fill_the_memory() -> None:
    bomb = written(b" " * 40_000_000)
    assert len(bomb) > link.MOST_CHARACTERS
    with pytest.raises(Refused, match="too long"):
        link.read(bomb)
    small = written(b" " * 4_000_000)
    assert len(small) < link.MOST_CHARACTERS
    with pytest.raises(Refused, match="far too much"):
        link.read(small)


@pytest.mark.parametrize("mark", ["\u200b", "\ufeff", "\u00ad", "\u202e", "\u3164", "\x07"])
def test_a_name_that_reads_like_another_is_refused(mark: str) -> None:
    """What nobody sees would put a second class on record that nobody can tell from the first."""
    text = link.packed(HandOut(race_class=CLASS))
    assert link.read(text).race_class == CLASS
    with pytest.raises(ValueError, match="invisible character"):
        HandOut.model_validate(
            {"race_class": CLASS.model_dump(exclude_unset=True) | {"name": f"Inv{mark}ented"}}
        )

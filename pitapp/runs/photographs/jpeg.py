"""The segments of a JPEG: what is needed to show it is kept, all else is left out. Pure.

Source: ITU-T T.81 (ISO/IEC 10918-1), annex B: markers, segments and the frame header; the place of a
picture stands in APP1 (Exif 2.32, JEITA CP-3451), remarks in COM.
"""

from __future__ import annotations

from typing import NamedTuple

SOI, EOI, SOS, TEM = 0xD8, 0xD9, 0xDA, 0x01
RESTARTS = range(0xD0, 0xD8)
FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
TABLES = frozenset((0xC4, 0xCC, 0xDB, 0xDD, SOS)) | FRAMES
JFIF, ADOBE = 0xE0, 0xEE
"""Density, and how the colours are coded; they say nothing of where or by whom."""
MOST_PX = 10_000
NO_JPEG = "This is no photograph that can be kept: a JPEG is needed."


class Picture(NamedTuple):
    """A JPEG with its size in pixels."""

    data: bytes
    width_px: int
    height_px: int


def bare_jpeg(data: bytes) -> Picture:
    """The same picture with nothing beside it: no place, no maker, no preview, nothing behind its end.

    Raises:
        ValueError: it is no whole JPEG.
    """
    if data[:2] != bytes((0xFF, SOI)):
        raise ValueError(NO_JPEG)
    out, at, size = bytearray(data[:2]), 2, (0, 0)
    while True:
        marker, at = _marker(data, at)
        if marker == EOI:
            out += bytes((0xFF, EOI))
            break
        if marker in RESTARTS or marker in (SOI, TEM):
            raise ValueError(NO_JPEG)
        end = at + int.from_bytes(data[at : at + 2], "big")
        if end < at + 2 or end > len(data):
            raise ValueError(NO_JPEG)
        segment = data[at:end]
        if marker in FRAMES:
            size = int.from_bytes(segment[5:7], "big"), int.from_bytes(segment[3:5], "big")
        if marker in TABLES or _harmless(marker, segment):
            out += bytes((0xFF, marker)) + segment
        at = end
        if marker == SOS:
            at = _end_of_scan(data, end)
            out += data[end:at]
    width_px, height_px = size
    if not (0 < width_px <= MOST_PX and 0 < height_px <= MOST_PX):
        raise ValueError(NO_JPEG)
    return Picture(bytes(out), width_px, height_px)


def _harmless(marker: int, segment: bytes) -> bool:
    if marker == JFIF:
        # With no thumbnail of its own: its last two bytes are that one's size.
        return segment[2:7] == b"JFIF\0" and len(segment) == 16 and segment[14:16] == b"\0\0"
    return marker == ADOBE and segment[2:7] == b"Adobe" and len(segment) == 14


def _marker(data: bytes, at: int) -> tuple[int, int]:
    """The marker at a place, behind any fill bytes, and the place behind it."""
    if at >= len(data) or data[at] != 0xFF:
        raise ValueError(NO_JPEG)
    while at < len(data) and data[at] == 0xFF:
        at += 1
    if at >= len(data) or data[at] == 0:
        raise ValueError(NO_JPEG)
    return data[at], at + 1


def _end_of_scan(data: bytes, at: int) -> int:
    """Where the coded picture ends: at the first marker that is neither a stuffed byte nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise ValueError(NO_JPEG)
        if data[at + 1] == 0 or data[at + 1] in RESTARTS:
            at += 2
        elif data[at + 1] == 0xFF:
            at += 1
        else:
            return at

"""The colours of a picture: reads the PNGs that browsers take of themselves."""

from __future__ import annotations

import struct
import zlib

Colour = tuple[int, int, int]


def colours(png: bytes) -> list[list[Colour]]:
    """Return the rows of pixels of a PNG with eight bits a channel (PNG specification, 4 and 9)."""
    width, height, depth, kind = struct.unpack(">IIBB", png[16:26])
    size = {2: 3, 6: 4}[kind]
    if depth != 8:
        raise ValueError("Eight bits a channel are read, no others.")
    data = zlib.decompress(b"".join(chunks(png, b"IDAT")))
    rows: list[list[Colour]] = []
    above = bytearray(width * size)
    for y in range(height):
        start = y * (width * size + 1)
        row = bytearray(data[start + 1 : start + 1 + width * size])
        unfilter(data[start], row, above, size)
        rows.append([(row[x], row[x + 1], row[x + 2]) for x in range(0, len(row), size)])
        above = row
    return rows


def chunks(png: bytes, wanted: bytes) -> list[bytes]:
    found, at = [], 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        if png[at + 4 : at + 8] == wanted:
            found.append(png[at + 8 : at + 8 + length])
        at += length + 12
    return found


def unfilter(kind: int, row: bytearray, above: bytearray, size: int) -> None:
    """Undo a row's filter, in place."""
    for at in range(len(row)):
        left = row[at - size] if at >= size else 0
        corner = above[at - size] if at >= size else 0
        guess = left + above[at] - corner
        nearest = min((left, above[at], corner), key=lambda each: abs(guess - each))
        row[at] = (row[at] + (0, left, above[at], (left + above[at]) // 2, nearest)[kind]) % 256


def luminance(colour: Colour) -> float:
    """Relative luminance (WCAG 2.2)."""
    parts = [each / 255 for each in colour]
    red, green, blue = (
        each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: Colour, other: Colour) -> float:
    """Contrast ratio (WCAG 2.2).

    >>> round(contrast((255, 255, 255), (119, 119, 119)), 2)
    4.48
    """
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)

"""Gear pitch as one short text: `dp:64` (teeth per inch of pitch diameter) or `m:0.5` (module in mm)."""

from __future__ import annotations

import re

from pitapp.limits import number

COMMON = ("dp:48", "dp:64", "m:0.4", "m:0.5", "m:0.6", "m:0.8", "m:1")
_PITCH = re.compile(r"(dp|m):(\d{1,3}(?:\.\d{1,4})?)\Z")


def pitch_from_diametral(diametral_pitch: float) -> str:
    """The text for a diametral pitch (teeth per inch), 4 to 200.

    Raises:
        ValueError: outside that range.

    >>> pitch_from_diametral(64.0)
    'dp:64'
    """
    return f"dp:{number(diametral_pitch, 'diametral pitch', 4, 200):.6g}"


def pitch_from_module(module_mm: float) -> str:
    """The text for a module in millimetres, 0.1 to 6.

    Raises:
        ValueError: outside that range.

    >>> pitch_from_module(0.5)
    'm:0.5'
    """
    return f"m:{number(module_mm, 'module', 0.1, 6, unit='mm'):.4g}"


def checked_pitch(text: str) -> str:
    """`text` if it is a pitch in its one spelling.

    Raises:
        ValueError: it is none.
    """
    match = _PITCH.match(text)
    if match is None:
        raise ValueError("Choose the gear pitch.")
    value = float(match[2])
    return pitch_from_diametral(value) if match[1] == "dp" else pitch_from_module(value)


def module_mm(pitch: str) -> float:
    """The module of a pitch in millimetres: 25.4 / DP, or the module itself.

    >>> round(module_mm("dp:64"), 4), module_mm("m:0.5")
    (0.3969, 0.5)
    """
    from pitapp.gearing.formulas import module_mm_from_diametral_pitch

    kind, value = checked_pitch(pitch).split(":")
    return module_mm_from_diametral_pitch(float(value)) if kind == "dp" else float(value)


def pitch_label(pitch: str) -> str:
    """The pitch as the trade writes it.

    >>> pitch_label("dp:64"), pitch_label("m:0.5")
    ('64 DP', 'module 0.5')
    """
    kind, value = pitch.split(":")
    return f"{value} DP" if kind == "dp" else f"module {value}"

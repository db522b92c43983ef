"""A gear's verdict: its level (good, look, stop) and one sentence."""

from __future__ import annotations

from typing import NamedTuple

from pitapp.drive.physics.results import Level

_PACK_NEARLY_EMPTY = 0.85


class Outlook(NamedTuple):
    """What a verdict weighs."""

    lap_s: float
    difference_s: float
    temperature_c: float
    temperature_se_c: float
    limit_m: float
    charge_mah: float
    pack_share: float
    can_limit_c: float
    extrapolated: bool


def level_of(out: Outlook) -> Level:
    """stop: over the can limit, or the pack is empty before the flag. look: it could be, or no
    logged gear is as long or as short. good: none of these.

    >>> level_of(Outlook(20.0, 0.0, 85.0, 4.0, 0.0, 3000.0, 0.5, 80.0, False))
    'stop'
    """
    if out.temperature_c > out.can_limit_c or out.pack_share > 1.0:
        return "stop"
    hot = out.temperature_c + out.temperature_se_c > out.can_limit_c
    if hot or out.extrapolated or out.pack_share > _PACK_NEARLY_EMPTY:
        return "look"
    return "good"


def verdict_of(out: Outlook, fitted: Outlook, *, same: bool, degrees: str = "°C") -> str:
    """One sentence on a gear against the one fitted; both may be in other `degrees` throughout.

    >>> now = Outlook(20.0, 0.0, 65.0, 4.0, 0.0, 3000.0, 0.5, 80.0, False)
    >>> then = Outlook(19.92, -0.08, 71.2, 4.1, 9.3, 3100.0, 0.52, 80.0, False)
    >>> verdict_of(then, now, same=False)
    '0.08 s a lap quicker, 6 °C hotter: 71 ± 4 °C; on the rev limit for 9 m a lap'
    """
    can = f"{out.temperature_c:.0f} ± {out.temperature_se_c:.0f} {degrees}"
    if same:
        parts = [f"can at {can}"]
    else:
        step = f"{abs(out.difference_s):.2f}"
        lap = f"{step} s a lap {'quicker' if out.difference_s < 0 else 'slower'}"
        warmer = round(out.temperature_c) - round(fitted.temperature_c)
        heat = (
            f"{abs(warmer)} {degrees} {'hotter' if warmer > 0 else 'cooler'}"
            if warmer
            else "no hotter"
        )
        parts = [f"{lap if step != '0.00' else 'the same lap time'}, {heat}: {can}"]
    if out.limit_m >= 0.5:
        parts.append(f"on the rev limit for {out.limit_m:.0f} m a lap")
    if out.temperature_c > out.can_limit_c:
        parts.append(f"over the limit of {out.can_limit_c:.0f} {degrees}")
    elif out.temperature_c + out.temperature_se_c > out.can_limit_c:
        parts.append(f"could pass the limit of {out.can_limit_c:.0f} {degrees}")
    if out.pack_share > 1.0:
        parts.append("the pack is empty before the flag")
    elif out.pack_share > _PACK_NEARLY_EMPTY:
        parts.append(f"takes {out.pack_share * 100:.0f} % of the pack")
    if out.extrapolated:
        parts.append("beyond any gear logged so far")
    return "; ".join(parts)

"""A gear's verdict: its level (good, look, stop) and one sentence, by one rule for every gear.

A gear is good when its can passes the limit in at most 7 runs of 100, the pack lasts with some left,
and it is at most 6 % beyond a logged gear. Between logged gears nothing but its ± counts.
"""

from __future__ import annotations

from math import erfc, sqrt
from typing import NamedTuple

from pitapp.drive.physics.results import Level

REACH = 0.06
"""How far beyond the logged gears a forecast is relied upon, as a part of the ratio."""
MOST_HOT = 0.07
"""How likely a can may pass its limit, at most. Of the gears then chosen (`head`) up to one in a
hundred is too hot, by the racers of the tests."""
_PACK_NEARLY_EMPTY = 0.85
CARE = (
    f"With care: over {MOST_HOT * 100:.0f} runs in 100 end too hot, over {_PACK_NEARLY_EMPTY * 100:.0f} % "
    f"of the pack is used, the gear is over {REACH * 100:.0f} % beyond those logged, or no can is logged yet."
)
"""The rule of "look" in the racer's words; that of `level_of`."""
_SAME = 1e-9


class Outlook(NamedTuple):
    """What a verdict weighs.

    `beyond` is how far the ratio lies outside those of logged gears, as a part of the nearest one:
    0 among them, None with none logged.
    """

    lap_s: float
    difference_s: float
    temperature_c: float
    temperature_se_c: float
    limit_m: float
    charge_mah: float
    pack_share: float
    can_limit_c: float
    beyond: float | None

    @property
    def hot_chance(self) -> float:
        """How likely the can passes its limit."""
        return hot_chance(self.can_limit_c - self.temperature_c, self.temperature_se_c)

    @property
    def may_be_hot(self) -> bool:
        """Whether the can passes its limit more often than it may."""
        return self.hot_chance > MOST_HOT

    @property
    def is_far(self) -> bool:
        """Whether no logged gear is near enough for the forecast to be relied upon."""
        return self.beyond is None or self.beyond > REACH + _SAME

    @property
    def doubt(self) -> str:
        """What is to be gone for in steps, of a gear to be taken with care."""
        if self.may_be_hot:
            return "Not sure to stay cool"
        return "Beyond what is logged" if self.is_far else "Takes most of the pack"


def hot_chance(room_k: float, se_k: float) -> float:
    """How likely a can with so much room under its limit, and such a ±, passes it.

    >>> round(hot_chance(0.0, 3.0), 2), round(hot_chance(5.88, 3.0), 3), hot_chance(-1.0, 0.0)
    (0.5, 0.025, 1.0)
    """
    if se_k <= 0.0:
        return 0.0 if room_k >= 0.0 else 1.0
    return 0.5 * erfc(room_k / (se_k * sqrt(2.0)))


def level_of(out: Outlook) -> Level:
    """stop: over the can limit, or the pack is empty before the flag. look: the one is likelier than
    it may be or the other near, or the gear is over 6 % beyond every logged one. good: none of these.

    >>> level_of(Outlook(20.0, 0.0, 85.0, 4.0, 0.0, 3000.0, 0.5, 80.0, 0.0))
    'stop'
    """
    if out.temperature_c > out.can_limit_c or out.pack_share > 1.0:
        return "stop"
    if out.may_be_hot or out.is_far or out.pack_share > _PACK_NEARLY_EMPTY:
        return "look"
    return "good"


def verdict_of(out: Outlook, fitted: Outlook, *, same: bool, degrees: str = "°C") -> str:
    """One sentence on a gear against the one fitted; both may be in other `degrees` throughout.

    >>> now = Outlook(20.0, 0.0, 65.0, 4.0, 0.0, 3000.0, 0.5, 80.0, 0.0)
    >>> then = Outlook(19.92, -0.08, 71.2, 4.1, 9.3, 3100.0, 0.52, 80.0, 0.0)
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
    elif out.may_be_hot:
        parts.append(f"could pass the limit of {out.can_limit_c:.0f} {degrees}")
    if out.pack_share > 1.0:
        parts.append("the pack is empty before the flag")
    elif out.pack_share > _PACK_NEARLY_EMPTY:
        parts.append(f"takes {out.pack_share * 100:.0f} % of the pack")
    if out.beyond is None:
        parts.append("no can logged in any gear yet")
    elif out.is_far:
        parts.append(f"{out.beyond * 100:.0f} % beyond any gear logged so far")
    return "; ".join(parts)

"""Laps pasted in ten layouts by hand and a thousand made ones: read exactly, or asked about."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import accumulate

import pytest

from pitapp.runs.formulas import read_laps

LAYOUTS = {
    "a time a line": ("14.87\n15.02\n14.91", (14.87, 15.02, 14.91)),
    "minutes": ("1:02.345\n0:59.870\n1:01.1", (62.345, 59.87, 61.1)),
    "decimal commas behind lap numbers": ("1. 14,87\n2. 15,02\n3. 9,91", (14.87, 15.02, 9.91)),
    "commas for both": ("1,14,87\n2,15,02\n3,14,91", (14.87, 15.02, 14.91)),
    "a sheet with headings": (
        "lap;place;lap time;gap;total\n1;3;14,875;+0,000;14,875\n2;2;15,001;+0,126;29,876\n"
        "3;2;14,900;+0,025;44,776",
        (14.875, 15.001, 14.9),
    ),
    "newest first": ("4\t14.80\n3\t14.91\n2\t15.02\n1\t15.87", (15.87, 15.02, 14.91, 14.8)),
    "words around": (
        "Heat 3, 14.05.2026, 18.5 °C\nLap 1: 14.87 s\nLap 2: 15.02 s turn 3\nLap 3: 14.91 s\n"
        "Average: 14.93 s\nTotal: 44.80 s",
        (14.87, 15.02, 14.91),
    ),
    "thousandths": ("14870\n15020\n14910", (14.87, 15.02, 14.91)),
    "minutes by letters": ("1m 02.3s\n1m 03.1s\n59.8s\n1m 01.0s", (62.3, 63.1, 59.8, 61.0)),
    "all in one line": ("14.87, 15.02, 14.91", (14.87, 15.02, 14.91)),
    "time of day": ("10:32:05.10\n10:32:20.30\n10:32:35.00", (15.2, 14.7)),
    "whole seconds": ("L1 15\nL2 16\nL3 15", (15.0, 16.0, 15.0)),
}


@pytest.mark.parametrize("name", LAYOUTS)
def test_a_layout_written_by_hand_is_read_in_one_way(name: str) -> None:
    text, laps = LAYOUTS[name]
    (reading,) = read_laps(text)
    assert reading.laps_s == laps


def test_lines_that_are_no_lap_are_named() -> None:
    (reading,) = read_laps("1, 14.87\n2, 15.02\n3, out\n4, 14.91\n5, 14.95")
    assert reading.laps_s == (14.87, 15.02, 14.91, 14.95)
    assert reading.left_over == ("3, out",)


@pytest.mark.parametrize(
    ("text", "possible"),
    [
        ("15.3\n30.4\n45.9\n61.0", [(15.3, 15.1, 15.5, 15.1), (15.1, 15.5, 15.1)]),
        ("14.87 14.95\n15.02 14.99\n14.91 15.10", [(14.87, 15.02, 14.91), (14.95, 14.99, 15.1)]),
        ("Anna 14.87\n14.91\n14.99", [(14.91, 14.99), (14.87, 14.91, 14.99)]),
    ],
)
def test_what_can_be_read_in_two_ways_is_asked(
    text: str, possible: list[tuple[float, ...]]
) -> None:
    readings = read_laps(text)
    assert sorted(reading.laps_s for reading in readings) == sorted(possible)
    assert len({(reading.how, reading.left_over) for reading in readings}) == len(possible)


@pytest.mark.parametrize(
    "text", ["", "no laps today", "+0.3\n+0.2", "18.5 °C", "0.00", "x" * 100_001]
)
def test_a_text_without_laps_is_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match=r"laps|lap times"):
        read_laps(text)


Written = Callable[[float], str]


def formats(dice: random.Random) -> tuple[Written, int]:
    """How this sheet writes a time, and with how many decimals."""
    digits, comma = dice.choice([2, 3]), dice.random() < 0.35
    shape = dice.choice(["s", "s", "m:ss", "m:ss always", "s unit"])

    def written(time: float) -> str:
        whole = round(time * 10**digits)
        minutes, rest = divmod(whole, 60 * 10**digits)
        seconds = f"{rest / 10**digits:.{digits}f}"
        if shape == "m:ss always" or (shape == "m:ss" and minutes):
            text = f"{minutes}:{seconds.zfill(3 + digits)}"
        else:
            text = f"{whole / 10**digits:.{digits}f}" + (" s" if shape == "s unit" else "")
        return text.replace(".", ",") if comma else text

    return written, digits


def made(seed: int) -> tuple[str, tuple[float, ...]]:
    """A list in some layout, and the laps that are in it."""
    dice = random.Random(seed)
    written, digits = formats(dice)
    pace, count = dice.uniform(8, 80), dice.randint(3, 40)
    laps = [
        round(pace + abs(dice.gauss(0, 0.4)) + 5 * (dice.random() < 0.06), digits)
        for _ in range(count)
    ]
    totals = [round(total, digits) for total in accumulate(laps)]
    best = min(laps)
    parts = ["number"] * (dice.random() < 0.6) + ["place"] * (dice.random() < 0.3)
    parts += ["name"] * (dice.random() < 0.15) + ["lap"]
    parts += ["gap"] * (dice.random() < 0.25) + ["total"] * (dice.random() < 0.3)
    prefix = dice.choice(["", "", "Lap ", "L", "#"])
    behind = dice.choice(["", "", ".", ":", ")"])
    between = dice.choice(["\t", ";", " ", "   ", " | ", ", ", " - ", "; "])
    if written(1.5).count(",") == 0 and dice.random() < 0.3:
        between = ","
    lines = []
    for at, lap in enumerate(laps):
        cells = {
            "number": f"{prefix}{at + 1}{behind}",
            "place": str(dice.randint(1, 9)),
            "name": "Example car",
            "lap": written(lap),
            "gap": f"+{written(round(lap - best, digits))}",
            "total": written(totals[at]),
        }
        lines.append(between.join(cells[part] for part in parts))
        if dice.random() < 0.03:
            lines[-1] += "  wide in turn 3"
    if "number" in parts and dice.random() < 0.15:
        lines.reverse()
    if dice.random() < 0.3:
        lines.insert(0, between.join(parts))
    if dice.random() < 0.15:
        lines.insert(0, "Invented meeting, 2026-05-16, heat 3")
    if dice.random() < 0.15:
        lines.append(f"Best {written(best)}")
    if dice.random() < 0.15:
        lines.append(f"Total {written(totals[-1])}")
    if dice.random() < 0.1:
        lines = [line + ("" if at % 4 else "\n") for at, line in enumerate(lines)]
    return dice.choice(["\n", "\r\n"]).join(lines), tuple(laps)


def test_a_thousand_made_lists_are_read_exactly_or_asked_about() -> None:
    asked, wrong = 0, []
    for seed in range(1000):
        text, laps = made(seed)
        try:
            readings = [reading.laps_s for reading in read_laps(text)]
        except ValueError:
            readings = []
        asked += len(readings) > 1
        if laps not in readings:
            wrong.append((seed, text[:200], readings[:1]))
    assert wrong == []
    assert asked < 100

"""The table of figures, look by look, with what is aimed at."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.racers import score
from tests.racers.people import KINDS
from tests.racers.score import Look
from tests.racers.season import LOOKS, best_safe


def rows(looks: Sequence[Look]) -> list[tuple[str, list[str], str]]:
    """(what, a figure for each look, what is aimed at)."""
    at = {runs: [look for look in looks if look.runs == runs] for runs in LOOKS}
    found: list[tuple[str, list[str], str]] = []

    def add(name: str, aim: str, figure: object) -> None:
        said = []
        for runs in LOOKS:
            try:
                said.append(str(figure(at[runs])))  # type: ignore[operator]
            except (ValueError, IndexError, ZeroDivisionError):
                said.append("-")
        found.append((name, said, aim))

    def spread(parts: list[score.Array]) -> str:
        size = [np.abs(part) for part in parts]
        return f"{score.quantile(size, 0.5):.1f}/{score.quantile(size, 0.9):.1f}"

    for beyond, name, aim in ((False, "within", "1.7/4.2"), (True, "beyond", "2.1/5.2")):
        add(
            f"can {name}, K: median/90 %", aim, lambda ls, b=beyond: spread(score.can_errors(ls, b))
        )
        add(
            f"can {name}: bias", "±0.7",
            lambda ls, b=beyond: f"{score.mean(score.can_errors(ls, b)):+.1f}",
        )  # fmt: skip
        add(
            f"can {name}: ± holds %", "60-80",
            lambda ls, b=beyond: f"{100 * score.mean(score.can_inside(ls, b)):.0f}",
        )  # fmt: skip
    add("straight line through readings", "worse", lambda ls: spread(score.line_errors(ls)))
    add(
        "stated ±, mean: K / s", "",
        lambda ls: f"{score.mean([x.figure('can-se-c') for x in ls]):.1f}"
        f"/{score.mean([x.figure('lap-se-s') for x in ls]):.3f}",
    )  # fmt: skip
    add("laps: ± holds %", "60-80", lambda ls: f"{100 * score.mean(score.lap_inside(ls)):.0f}")
    for kind in KINDS:
        add(
            f"  {kind}: can ±, laps ± hold %", "55-85",
            lambda ls, k=kind: _by_kind([x for x in ls if x.kind == k]),
        )  # fmt: skip
    add("a head is given, %", ">= 95", lambda ls: _given(ls))
    add("no owned gear safe: said / true", "", _none_safe)
    add("head is hot, %", "<= 1", lambda ls: _hot(ls, score.by_page))
    add("  best lap so far is hot, %", "", lambda ls: _hot(ls, score.by_best_lap))
    add("  gear kept is hot, %", "", lambda ls: _hot(ls, score.by_keeping))
    add("head within 0.05 s, %", "65 75 80 80", _close)
    add("head: mean regret, s", ".050 .042 .035 .035", lambda ls: _regret(ls, score.by_page))
    add("  best lap so far: regret", "", lambda ls: _regret(ls, score.by_best_lap))
    add("  kept: regret", "", lambda ls: _regret(ls, score.by_keeping))
    for name, pick in (("best lap", score.by_best_lap), ("kept", score.by_keeping)):
        add(
            f"regret against {name}, + se", "<= .003",
            lambda ls, p=pick: _against(ls, p),
        )  # fmt: skip
    add(
        "charge, 90 % off by, %",
        "<= 30",
        lambda ls: f"{100 * score.quantile(score.relative_errors(ls), 0.9):.0f}",
    )
    add(
        "top speed, median km/h",
        "<= .8",
        lambda ls: f"{score.quantile(score.speed_errors(ls), 0.5):.2f}",
    )
    return found


def _by_kind(looks: Sequence[Look]) -> str:
    can = score.can_inside(looks, False) + score.can_inside(looks, True)
    return f"{100 * score.mean(can):.0f},{100 * score.mean(score.lap_inside(looks)):.0f}"


def _able(looks: Sequence[Look]) -> list[Look]:
    return [look for look in looks if best_safe(look.truth) is not None]


def _given(looks: Sequence[Look]) -> str:
    able = _able(looks)
    return f"{100 * score.heads(able, score.by_page).given / len(able):.0f}"


def _none_safe(looks: Sequence[Look]) -> str:
    said = sum(look.shown.none_safe for look in looks)
    return f"{said}/{len(looks) - len(_able(looks))}"


def _hot(looks: Sequence[Look], pick: object) -> str:
    found = score.heads(looks, pick)  # type: ignore[arg-type]
    return f"{100 * found.hot / found.given:.1f} ({found.hot})"


def _close(looks: Sequence[Look]) -> str:
    found = score.heads(looks, score.by_page)
    return f"{100 * (found.regrets <= score.CLOSE_S).mean():.0f}" if found.given else "-"


def _regret(looks: Sequence[Look], pick: object) -> str:
    found = score.heads(looks, pick)  # type: ignore[arg-type]
    return f"{found.regrets.mean():.3f}" if found.given else "-"


def _against(looks: Sequence[Look], pick: object) -> str:
    gap, se = score.paired(score.heads(looks, score.by_page), score.heads(looks, pick))  # type: ignore[arg-type]
    return f"{gap:+.3f}+{se:.3f}"


def text(looks: Sequence[Look]) -> str:
    """The table as lines of text."""
    lines = [f"{'':34}" + "".join(f"{f'{runs} runs':>14}" for runs in LOOKS) + "  aim"]
    for name, said, aim in rows(looks):
        lines.append(f"{name:34}" + "".join(f"{one:>14}" for one in said) + f"  {aim}")
    return "\n".join(lines)

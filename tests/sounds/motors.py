"""A motor that stands beside the phone, running free or with its wheels in the air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.sounds import RATE
from tests.sounds.noises import Sound, at_level, echoes, mixture, through_phone


@dataclass(frozen=True)
class Bench:
    """A sound, what is true of it, and what the racer has typed."""

    samples: Sound
    rpm: float
    poles: int
    kv: float
    volts: float
    pinion: int | None
    snr_db: float
    limit: float | None = None
    other_rpm: float | None = None


def levels(rng: np.random.Generator, poles: int, pinion: int | None) -> dict[int, float]:
    """How loud each order is: imbalance, poles, commutation, cogging, gears, and a little of all others."""
    pairs = poles // 2
    slots = int(rng.choice([3, 6, 9])) * (1 if poles == 2 else 2)
    loud: dict[int, float] = {}

    def add(order: int, decibel: float, scatter: float = 6.0) -> None:
        amplitude = 10 ** ((decibel + scatter * rng.standard_normal()) / 20)
        loud[order] = loud.get(order, 0.0) + amplitude

    for order in range(1, 25):
        add(order, -26)
    main = {
        1: -3.0,
        2: -8.0,
        pairs: -3.0,
        2 * pairs: -6.0,
        3 * pairs: -10.0,
        6 * pairs: 0.0,
        12 * pairs: -5.0,
        18 * pairs: -10.0,
        24 * pairs: -14.0,
        int(np.lcm(slots, poles)): -6.0,
    }
    for order, decibel in main.items():
        if rng.random() > 0.2:
            add(order, decibel)
    if pinion:
        add(pinion, -4)
        add(2 * pinion, -12)
        for side in (pinion - 1, pinion + 1):
            add(side, -14)
    return loud


def turning(rng: np.random.Generator, rpm: float, count: int, wander: float) -> tuple[Sound, float]:
    """The angle in revolutions, wandering a little, and the mean rpm."""
    t = np.arange(count) / RATE
    off = np.zeros(count)
    for _ in range(3):
        off += (
            wander
            * rng.standard_normal()
            * np.sin(2 * np.pi * rng.uniform(0.1, 2.0) * t + 6.3 * rng.random())
        )
    speed = rpm / 60 * (1 + off)
    return np.cumsum(speed) / RATE, float(60 * speed.mean())


def sounding(rng: np.random.Generator, angle: Sound, loud: dict[int, float]) -> Sound:
    """The sound of a turning angle, each order breathing in level."""
    count = len(angle)
    t = np.arange(count) / RATE
    fastest = float(np.max(np.diff(angle))) * RATE
    out = np.zeros(count)
    for order, amplitude in loud.items():
        if order * fastest > 0.45 * RATE:
            continue
        breath = 1 + 0.3 * np.sin(2 * np.pi * rng.uniform(0.3, 4) * t + 6.3 * rng.random())
        out += amplitude * breath * np.sin(2 * np.pi * order * angle + 6.3 * rng.random())
    return out


def motor(
    rng: np.random.Generator, rpm: float, poles: int, count: int, pinion: int | None = None
) -> tuple[Sound, float]:
    """One motor's sound at level 1, with its mean rpm."""
    angle, mean = turning(rng, rpm, count, rng.choice([0.0002, 0.0006, 0.0012]))
    return at_level(sounding(rng, angle, levels(rng, poles, pinion)), 1.0), mean


def bench(
    seed: int, snr_db: float, *, seconds: float = 4.0, outside: bool = False, limited: bool = False
) -> Bench:
    """A motor by chance: 2 or 4 poles, 5000 to 50 000 rpm; Kv typed up to 10 % off, volts up to 5 %.

    Args:
        outside: it turns at quite another speed than what was typed allows.
        limited: wheels in the air on the rev limiter, within 3 % of the limit.
    """
    rng = np.random.default_rng([seed, int(snr_db) + 100, outside, limited])
    count = int(seconds * RATE)
    rpm = float(np.exp(rng.uniform(np.log(5000), np.log(50_000))))
    poles = int(rng.choice([2, 4]))
    pinion = int(rng.integers(12, 52)) if limited else None
    own, mean = motor(rng, rpm, poles, count, pinion)
    other, other_rpm = motor(
        rng,
        float(np.exp(rng.uniform(np.log(5000), np.log(50_000)))),
        int(rng.choice([2, 4])),
        count,
    )
    second = rng.random() < 0.5
    disturbed = mixture(rng, count, (glide(rng, other),) if second else ())
    sound = echoes(rng, own) if rng.random() < 0.7 else own
    heard = through_phone(rng, at_level(sound, 1.0) + 10 ** (-snr_db / 20) * disturbed)
    true_volts = rng.uniform(3, 15)
    volts = true_volts * (1 + rng.uniform(-0.05, 0.05))
    # Free-running takes a few per cent off Kv times volts.
    kv = rpm / true_volts / rng.uniform(0.95, 1.0) * (1 + rng.uniform(-0.1, 0.1))
    if outside:
        away = float(np.exp(rng.uniform(np.log(1.4), np.log(3.0))))
        up = rng.random() < 0.5 and kv * away < 19_000
        kv *= away if up else 1 / away
    limit = None
    if limited:
        # As far as 3 % from the limit, on either side, and the motor could turn faster by Kv.
        limit = mean / (1 + rng.uniform(-0.03, 0.03))
        kv *= rng.uniform(1.05, 1.8)
    return Bench(
        heard, mean, poles, kv, volts, pinion, snr_db, limit, other_rpm if second else None
    )


def glide(rng: np.random.Generator, sound: Sound) -> Sound:
    """Another car's motor: swelling up and dying away."""
    t = np.linspace(-1, 1, len(sound))
    return sound / (0.1 + (t - rng.uniform(-1, 1)) ** 2)

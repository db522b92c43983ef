"""A car that passes the phone: the sound of a moving source, each bit heard when it arrives.

A bit of sound sent at time s from distance r(s) is heard at s + r(s)/c (retarded time); nothing is approximated but
the inversion of that, between samples.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.sounds import RATE
from tests.sounds.motors import levels
from tests.sounds.noises import Sound, level, mixture, through_phone

DETAIL = 1


def speed_of_sound(air_c: float) -> float:
    """In m/s: 343.2 m/s at 20 °C, by the root of the absolute temperature (ISO 9613-1)."""
    return 343.2 * float(np.sqrt((air_c + 273.15) / 293.15))


@dataclass(frozen=True)
class Passing:
    """One pass as it was: its time at the closest point (sent), and speed and revs there."""

    at_s: float
    speed_m_s: float
    rpm: float
    distance_m: float
    limited: bool


@dataclass(frozen=True)
class Listening:
    """A sound with passes in it, and what the racer has typed."""

    samples: Sound
    passes: tuple[Passing, ...]
    poles: int
    rollout_mm: float
    top_rpm: float
    pinion: int
    air_c: float
    snr_db: float


def path(
    rng: np.random.Generator, at_s: float, speed: float, gain: float, jerk: float, times: Sound
) -> tuple[Sound, Sound, Sound]:
    """Where along the straight the car is and how fast, at each time; and where it turns off."""
    s = times - at_s
    v = np.clip(speed + gain * s + jerk * s**2 / 2, 1.0, 45.0)
    x = np.cumsum(v) / RATE
    x -= np.interp(at_s, times, x)
    return x, v, s


def place(
    x: Sound, distance: float, before: float, after: float, radius: float
) -> tuple[Sound, Sound]:
    """The car's place: a straight with a bend at either end, away from the phone."""
    along, aside = x.copy(), np.full_like(x, distance)
    for end, way in ((after, 1.0), (before, -1.0)):
        past = way * x - end
        bend = past > 0
        turn = np.clip(past[bend] / radius, 0, np.pi)
        run = np.clip(past[bend] - np.pi * radius, 0, None)
        along[bend] = way * (end + radius * np.sin(turn) - run)
        aside[bend] = distance + radius * (1 - np.cos(turn))
    return along, aside


def heard(
    angle: Sound,
    loud: dict[int, float],
    along: Sound,
    aside: Sound,
    c: float,
    times: Sound,
    rng: np.random.Generator,
) -> Sound:
    """What arrives of every order of a turning angle from a moving place."""
    r = np.hypot(along, aside)
    arrival = times + r / c
    sent = np.interp(times, arrival, times)
    here = np.interp(sent, times, angle)
    distance = np.interp(sent, times, r)
    facing = np.interp(sent, times, -along / r)
    front = rng.uniform(-0.25, 0.25)
    fastest = 1.1 * float(np.max(np.diff(angle))) * RATE
    out = np.zeros_like(times)
    for order, amplitude in loud.items():
        if order * fastest < 0.45 * RATE:
            out += amplitude * np.sin(2 * np.pi * order * here + 6.3 * rng.random())
    return out * (1 + front * facing) / distance


def listening(seed: int, snr_db: float, *, passes: int = 1, seconds: float = 4.0) -> Listening:
    """So many passes of one car by chance: 8 to 30 m/s, 1 to 6 m away, its speed changing on the way.

    Args:
        snr_db: the car (with its echo from a wall) over all that disturbs it, as root mean squares of the whole band
            from 150 Hz to 16 kHz: the car's over the second about its closest point, the other's over the whole sound.
            It is not tones over the noise beside them, which stand out by more.
    """
    rng = np.random.default_rng([seed, int(snr_db) + 100, passes, 7])
    count = int(passes * seconds * RATE)
    times = np.arange(count) / RATE
    air_c = float(rng.uniform(2, 38))
    c = speed_of_sound(air_c)
    poles, pinion = int(rng.choice([2, 2, 4])), int(rng.integers(18, 50))
    loud = levels(rng, poles, pinion)
    speed0 = rng.uniform(8, 30)
    rollout_mm = float(1000 * speed0 * 60 / rng.uniform(9000, 40_000))
    slip = rng.uniform(1.0, 1.04)
    distance = rng.uniform(1, 6)
    before, after, radius = rng.uniform(10, 35), rng.uniform(8, 30), rng.uniform(2, 6)
    out, noted, top = np.zeros(count), [], 0.0
    for number in range(passes):
        at_s = (number + rng.uniform(0.4, 0.6)) * seconds
        speed = float(
            np.clip(speed0 * (1 + (0.02 * rng.standard_normal() if passes > 1 else 0)), 8, 30)
        )
        limited = rng.random() < 0.3
        gain, jerk = (0.0, 0.0) if limited else (rng.uniform(-1.5, 4), rng.uniform(-2, 2))
        x, v, s = path(rng, at_s, speed, gain, jerk, times)
        near = np.abs(s) < seconds / 2
        along, aside = place(x, distance, before, after, radius)
        turns = v * slip / rollout_mm * 1000
        own = heard(np.cumsum(turns) / RATE, loud, along, aside, c, times, rng)
        if rng.random() < 0.6:  # a wall on the far side sends it back
            wall = distance + rng.uniform(2, 12)
            own += rng.uniform(0.1, 0.6) * heard(
                np.cumsum(turns) / RATE, loud, along, 2 * wall - aside, c, times, rng
            )
        out += np.where(near, own, 0.0)
        rpm = speed * slip / rollout_mm * 60_000
        top = max(top, rpm * (1 if limited else rng.uniform(1.0, 1.3)))
        noted.append(Passing(at_s, speed, rpm, float(distance), bool(limited)))
    around = np.zeros(count, bool)
    for each in noted:
        around |= np.abs(times - each.at_s) < 0.5
    scale = level(out[around])
    others: tuple[Sound, ...] = ()
    if rng.random() < 0.4:
        there = float(rng.uniform(0, times[-1]))
        x, v, _ = path(rng, there, rng.uniform(6, 30), 0.0, 0.0, times)
        along, aside = place(x, rng.uniform(3, 10), 20.0, 20.0, 4.0)
        other = np.cumsum(v / rng.uniform(0.02, 0.06)) / RATE
        others = (heard(other, levels(rng, 2, None), along, aside, c, times, rng),)
    noise = mixture(rng, count, others)
    noise *= 1 / max(level(noise), 1e-9)
    sound = through_phone(rng, out / scale + 10 ** (-snr_db / 20) * noise)
    return Listening(
        sound,
        tuple(noted),
        poles,
        rollout_mm * float(rng.uniform(0.98, 1.02)),
        top,
        pinion,
        air_c,
        snr_db,
    )

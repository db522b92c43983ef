"""What a phone hears beside the motor: wind, speech-like sound, a whistle, hiss; and the phone's own response."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.sounds import RATE

Sound = NDArray[np.float64]
HEARD_HZ = (150.0, 16_000.0)


def level(sound: Sound) -> float:
    """The root mean square within the band that counts, 150 Hz to 16 kHz."""
    band = signal.butter(4, HEARD_HZ, "bandpass", fs=RATE, output="sos")
    return float(np.sqrt(np.mean(signal.sosfilt(band, sound) ** 2)))


def at_level(sound: Sound, wanted: float) -> Sound:
    """The sound scaled to a level."""
    return sound * (wanted / max(level(sound), 1e-12))


def hiss(rng: np.random.Generator, count: int) -> Sound:
    """Steady noise, between white and pink and a little beyond."""
    tilt = rng.uniform(0, 1.4)
    freqs = np.fft.rfftfreq(count, 1 / RATE)
    shape = np.maximum(freqs, 50.0) ** (-tilt / 2)
    white = np.fft.rfft(rng.standard_normal(count))
    return np.fft.irfft(white * shape, count)


def wind(rng: np.random.Generator, count: int) -> Sound:
    """Low rumble that comes in gusts."""
    low = signal.butter(2, rng.uniform(150, 500), fs=RATE, output="sos")
    gusts = signal.butter(2, rng.uniform(0.5, 3), fs=RATE, output="sos")
    force = np.abs(signal.sosfilt(gusts, rng.standard_normal(count)))
    return signal.sosfilt(low, rng.standard_normal(count)) * (force / (force.max() + 1e-12))


def speech(rng: np.random.Generator, count: int) -> Sound:
    """Voiced syllables with a gliding pitch and moving formants, like talk nearby."""
    t = np.arange(count) / RATE
    pitch = rng.uniform(90, 230) * np.exp(
        0.12 * np.sin(2 * np.pi * rng.uniform(0.3, 1.2) * t + 6 * rng.random())
    )
    phase = np.cumsum(pitch) / RATE
    pulses = (np.diff(np.floor(phase), prepend=0) > 0).astype(float)
    voiced = pulses + 0.02 * rng.standard_normal(count)
    out = np.zeros(count)
    for low, high, width in ((300, 800, 90), (900, 2000, 120), (2200, 3000, 160)):
        centre = rng.uniform(low, high)
        b, a = signal.iirpeak(centre, centre / width, fs=RATE)
        out += signal.lfilter(b, a, voiced)
    syllables = np.clip(np.sin(2 * np.pi * rng.uniform(1.5, 3) * t + 6 * rng.random()), 0, None)
    return out * syllables


def whistle(rng: np.random.Generator, count: int) -> Sound:
    """A controller's steady switching tone, with an overtone."""
    t = np.arange(count) / RATE
    tone = rng.choice([2000.0, 4000.0, 8000.0, 12_000.0, 16_000.0]) * rng.uniform(0.97, 1.03)
    return np.sin(2 * np.pi * tone * t) + 0.3 * np.sin(4 * np.pi * tone * t)


def mixture(rng: np.random.Generator, count: int, others: tuple[Any, ...] = ()) -> Sound:
    """A chance mixture of all of these with the given other sounds, at level 1."""
    parts = [hiss(rng, count), wind(rng, count), speech(rng, count), whistle(rng, count), *others]
    powers = rng.dirichlet([2.0, 1.0, 1.0, 0.5] + [1.0] * len(others))
    total = sum(
        (at_level(part, float(np.sqrt(power))) for part, power in zip(parts, powers, strict=True)),
        np.zeros(count),
    )
    return at_level(total, 1.0)


def through_phone(rng: np.random.Generator, sound: Sound) -> Sound:
    """The microphone's own response: little bass, a few bumps; and 16-bit steps."""
    sos = signal.butter(2, rng.uniform(60, 180), "highpass", fs=RATE, output="sos")
    heard = signal.sosfilt(sos, sound)
    for _ in range(3):
        centre, gain = rng.uniform(400, 9000), rng.uniform(-0.5, 0.8)
        b, a = signal.iirpeak(centre, rng.uniform(1, 4), fs=RATE)
        heard = heard + gain * signal.lfilter(b, a, heard)
    heard *= rng.uniform(0.02, 0.5) / np.max(np.abs(heard))
    return np.round(heard * 32767) / 32767


def echoes(rng: np.random.Generator, sound: Sound) -> Sound:
    """The sound with a few reflections that stand still."""
    out = sound.copy()
    for _ in range(rng.integers(1, 6)):
        delay = int(rng.uniform(0.002, 0.04) * RATE)
        out[delay:] += rng.uniform(-0.6, 0.6) * sound[:-delay]
    return out

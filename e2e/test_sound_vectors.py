"""The phone's signal work: beside SciPy and the server's sums, and how often it is right on made-up sound.

`PITAPP_SOUNDS` is how many motors of each kind are tried; their seeds were not used while tuning.
"""

from __future__ import annotations

import base64
import os
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page

from e2e.test_gearing_vectors import files
from pitapp.sound.formulas import free_rpm_band, side_of_limit
from tests import sound_reference as reference
from tests.sounds import RATE
from tests.sounds.motors import Bench, bench

__all__ = ["files"]
SOUNDS = int(os.environ.get("PITAPP_SOUNDS", "10"))
FIRST_SEED = 500_000
SIZE = 16_384
ANSWERED = {10: 0.90, 0: 0.70}
HEAR = """async ({sound, known}) => {
    const {Spectrum} = await import("/static/js/sound/spectrum.js");
    const {hearRevs} = await import("/static/js/sound/revs.js");
    const bytes = Uint8Array.from(atob(sound), (letter) => letter.charCodeAt(0));
    const samples = Float32Array.from(new Int16Array(bytes.buffer), (step) => step / 32768);
    const spectrum = globalThis.spectrum ??= new Spectrum(16384);
    const frames = [];
    for (let from = 0; from + 16384 <= samples.length; from += 8192) frames.push(spectrum.frame(samples, from));
    return hearRevs(frames, known);
}"""


def heard(page: Page, made: Bench) -> dict[str, Any]:
    """What the phone says of a made-up motor."""
    if made.limit:
        low, high = 0.94 * made.limit, 1.06 * made.limit
    else:
        low, high = free_rpm_band(made.kv, made.volts)
    known = {"binHz": RATE / SIZE, "lowRpm": low, "highRpm": high, "poles": made.poles}
    steps = (made.samples * 32767).astype("<i2").tobytes()
    sound = base64.b64encode(steps).decode()
    answer: dict[str, Any] = page.evaluate(
        HEAR, {"sound": sound, "known": known | {"pinion": made.pinion}}
    )
    return answer


def motors(snr_db: int, **kind: bool) -> list[Bench]:
    return [bench(FIRST_SEED + number, snr_db, **kind) for number in range(SOUNDS)]


def test_the_spectrum_is_scipy_s(files: str, page: Page) -> None:
    rng = np.random.default_rng(3)
    sounds = [rng.standard_normal(1024).astype(np.float32).astype(float) for _ in range(4)]
    page.goto(files)
    spectra = page.evaluate(
        """async (sounds) => {
            const {Spectrum} = await import("/static/js/sound/spectrum.js");
            const spectrum = new Spectrum(1024);
            return sounds.map((sound) => Array.from(spectrum.power(Float32Array.from(sound))));
        }""",
        [sound.tolist() for sound in sounds],
    )
    for sound, power in zip(sounds, spectra, strict=True):
        assert np.array(power) == pytest.approx(reference.spectrum(sound), rel=1e-9, abs=1e-16)


def test_a_peak_is_where_equal_temperament_has_it(files: str, page: Page) -> None:
    """Tones of 440 Hz · 2^(k/12) (middle C is 261.6256 Hz), found between bins of 2.9 Hz."""
    assert pytest.approx(261.6256, abs=5e-5) == 440 * 2 ** (-9 / 12)
    tones = [440 * 2 ** (k / 12) for k in range(-9, 40)]
    page.goto(files)
    found = page.evaluate(
        """async ({tones, rate}) => {
            const {Spectrum, peaks} = await import("/static/js/sound/spectrum.js");
            const spectrum = new Spectrum(16384), binHz = rate / 16384;
            return tones.map((hz) => {
                const sound = Float32Array.from({length: 16384}, (_, n) => Math.sin(2 * Math.PI * hz * n / rate));
                const {power, above} = spectrum.frame(sound);
                return peaks(power, above, binHz, {least: 20, lowHz: 60, highHz: 8000, most: 1})[0].hz;
            });
        }""",
        {"tones": tones, "rate": RATE},
    )
    assert found == pytest.approx(tones, abs=0.06)


def test_what_is_known_before_is_the_server_s(files: str, page: Page) -> None:
    bands = [(2380.0, 7.4), (50.0, 0.1), (20_000.0, 60.0), (3500.5, 3.7)]
    limits = [(14_540.0, 15.0, 14_600.0), (14_571.0, 15.0, 14_600.0), (14_631.0, 15.0, 14_600.0),
              (14_600.0, 0.0, 14_600.0), (14_630.0, 15.0, 14_600.0), (14_570.0, 15.0, 14_600.0)]  # fmt: skip
    page.goto(files)
    answers = page.evaluate(
        """async ({bands, limits}) => {
            const {freeRpmBand, sideOfLimit} = await import("/static/js/sound/known.js");
            return [bands.map((args) => freeRpmBand(...args)), limits.map((args) => sideOfLimit(...args))];
        }""",
        {"bands": bands, "limits": limits},
    )
    for answer, args in zip(answers[0], bands, strict=True):
        assert answer == pytest.approx(free_rpm_band(*args), rel=1e-12)
    assert answers[1] == [side_of_limit(*args) for args in limits]


def test_revs_are_those_of_a_search_by_scipy(files: str, page: Page) -> None:
    page.goto(files)
    compared = 0
    for made in motors(10)[:4]:
        said = heard(page, made)
        if said["state"] == "heard":
            by_scipy = reference.revs(made.samples, said["orders"], made.rpm)
            assert said["rpm"] == pytest.approx(by_scipy, rel=1e-3)
            compared += 1
    assert compared >= 2


@pytest.mark.parametrize("snr_db", [10, 0])
def test_a_motor_is_heard_right(files: str, page: Page, snr_db: int) -> None:
    page.goto(files)
    off = []
    for made in motors(snr_db):
        said = heard(page, made)
        if said["state"] == "heard":
            off.append(abs(said["rpm"] / made.rpm - 1))
    wrong = sum(each > 0.005 for each in off)
    print(
        f"{snr_db} dB: {len(off)} of {SOUNDS} answered, {wrong} wrong, 95 % within {np.quantile(off, 0.95):.3%}"
    )
    assert len(off) >= ANSWERED[snr_db] * SOUNDS - 1
    assert wrong <= 0.01 * SOUNDS
    assert np.quantile(off, 0.95) < 0.002


@pytest.mark.parametrize("snr_db", [10, 0])
def test_a_motor_outside_the_band_is_not_taken(files: str, page: Page, snr_db: int) -> None:
    """Unless it is the second car's motor that is heard, rightly."""
    page.goto(files)
    taken = []
    for made in motors(snr_db, outside=True):
        said = heard(page, made)
        other = made.other_rpm or 0.0
        if said["state"] == "heard" and said["rpm"] != pytest.approx(other, rel=0.005):
            taken.append(made)
    print(f"{snr_db} dB: {len(taken)} of {SOUNDS} outside the band were taken")
    assert len(taken) <= 0.01 * SOUNDS


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_an_octave_lower_or_higher_is_not_taken(files: str, page: Page, factor: float) -> None:
    """Every tone of the motor, or every other one, fits half or twice its revs: that comb is the likeliest mistake."""
    page.goto(files)
    typed = [
        replace(made, kv=made.kv * factor) for made in motors(10) if 50 < made.kv * factor < 20_000
    ]
    assert len(typed) >= SOUNDS / 2
    states = [heard(page, made)["state"] for made in typed]
    print(f"of {len(typed)} motors typed {factor} times as fast: {states}")
    assert states.count("heard") <= 0.01 * SOUNDS
    assert "outside" in states


@pytest.mark.parametrize("snr_db", [10, 0])
def test_the_side_of_the_limit_is_never_wrong(files: str, page: Page, snr_db: int) -> None:
    page.goto(files)
    answered, wrong, near = 0, 0, 0
    for made in motors(snr_db, limited=True):
        said = heard(page, made)
        assert made.limit is not None
        if said["state"] != "heard":
            continue
        answered += 1
        side = side_of_limit(said["rpm"], said["spread"], made.limit)
        near += side == "near"
        wrong += side not in {"near", "under" if made.rpm < made.limit else "over"}
    print(f"{snr_db} dB: {answered} of {SOUNDS} answered, {near} too near to call, {wrong} wrong")
    assert answered >= ANSWERED[snr_db] * SOUNDS - 1
    assert wrong <= 0.01 * SOUNDS
    assert near < 0.5 * answered

"""Made-up sound of motors, to try what the phone hears; no recording stands behind it.

Nothing of the app is used here: a motor is a turning angle with a level for each order. Levels, drifts and noises are
drawn by chance within what seems plausible (no source). `motors.py` makes the motor, `noises.py` what disturbs it.
"""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

RATE = 48_000


def write_wav(path: Path, samples: NDArray[np.float64]) -> Path:
    """Write a sound as a 16-bit file, which a browser takes in place of a microphone."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((samples * 32767).astype("<i2").tobytes())
    return path

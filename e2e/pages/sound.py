"""A phone whose microphone is a sound file, or is refused, or is not there."""

from __future__ import annotations

import base64
import json
import os
import wave
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserType, Page

from e2e.watch import Watch

ALLOWED = "--use-fake-ui-for-media-stream"
MADE_UP = "--use-fake-device-for-media-stream"


Listens = Callable[..., AbstractContextManager[Page]]
"""`ears` of the engine at hand."""


@contextmanager
def ears(
    browser_type: BrowserType, launch: dict[str, Any], phone: dict[str, Any], watch: Watch,
    sound: Path | None = None, *, refused: bool = False, **more: Any,
) -> Iterator[Page]:  # fmt: skip
    """A page in a browser of its own that hears the file, over and over; without one it has no microphone."""
    flags = [MADE_UP, f"--use-file-for-fake-audio-capture={sound}"] if sound else []
    # Without the made-up device the browser must not find one of the machine's own.
    flags += [MADE_UP, "--deny-permission-prompts"] if refused else [ALLOWED]
    env: dict[str, str | float | bool] = {
        **os.environ,
        "PULSE_SERVER": "none",
        "ALSA_CONFIG_PATH": "/dev/null",
    }
    browser = browser_type.launch(**{**launch, "args": [*launch.get("args", ()), *flags]}, env=env)
    context = browser.new_context(**{**phone, **more})
    watch.over(context)
    yield context.new_page()
    context.close()
    browser.close()


# Stands in for a microphone where an engine cannot be given a made-up one, nor has a sound device whose clock would
# run: the sound is rendered at once, into the page's own audio worklet. The engine's own way from a microphone to
# there, and the pace of time, are not tried thereby.
IMITATED = """({sound, rate}) => {
    const bytes = Uint8Array.from(atob(sound), (letter) => letter.charCodeAt(0));
    const samples = Float32Array.from(new Int16Array(bytes.buffer), (step) => step / 32768);
    const track = {stop() {}, addEventListener() {}};
    const getUserMedia = async () => ({getTracks: () => [track]});
    Object.defineProperty(navigator, "mediaDevices", {configurable: true, value: {getUserMedia}});
    globalThis.AudioContext = class extends OfflineAudioContext {
        constructor() { super(1, samples.length, rate); }
        createMediaStreamSource() {
            const buffer = this.createBuffer(1, samples.length, rate);
            buffer.copyToChannel(samples, 0);
            const source = new AudioBufferSourceNode(this, {buffer});
            source.start();
            return source;
        }
        async resume() { this.startRendering(); }
        async close() {}
    };
}"""


def imitate_microphone(page: Page, sound: Path) -> None:
    """Put a sound file in the place of the microphone, on every page that is gone to from now on."""
    with wave.open(str(sound)) as file:
        rate, steps = file.getframerate(), file.readframes(file.getnframes())
    made = {"sound": base64.b64encode(steps).decode(), "rate": rate}
    page.add_init_script(f"({IMITATED})({json.dumps(made)})")

"""Sound: what a phone's microphone tells of revs and speed, with what the app knows of motor and gear.

Here belong the screens that listen, the sums of pitch (`formulas.py`; the signal work is `static/js/sound/`, run where
the sound is), and the racer's own comparisons with an instrument. Sound is never stored or sent: only figures are.
What a figure is for belongs to its own room (`pitapp.bench`, `pitapp.checks`, `pitapp.runs`).
Test: `tests/test_sound_*.py`, `e2e/test_sound*.py`; the made-up sound of both is `tests/sounds/`.
"""

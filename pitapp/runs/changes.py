"""What changed from one run to another, in words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from pitapp.gearing.formulas import ratio_texts
from pitapp.record import Record
from pitapp.runs.conditions import WORDS
from pitapp.runs.direction_words import direction_word
from pitapp.runs.models import FittedController, FittedTyres, Run, Setting, with_unit
from pitapp.units import with_minus

SAME_MOMENT_S = 15


class Change(Record):
    """One thing that changed; `result` marks what the stopwatch and the thermometer said of it."""

    topic: str
    text: str
    result: bool = False


def celsius(kelvin: float) -> str:
    """A temperature difference with its sign, in whole degrees.

    >>> celsius(5.6), celsius(-2), celsius(0.2)
    ('+6 °C', '−2 °C', '±0 °C')
    """
    rounded = round(kelvin)
    return with_minus(f"{rounded:+d} °C") if rounded else "±0 °C"


def changes(
    earlier: Run, later: Run, rise_text: Callable[[float], str] = celsius
) -> tuple[Change, ...]:
    """Differences of `later` against `earlier`: gear, set-up and tyres, then the results.

    Lap times are compared at the same track only. A temperature is compared as it was read; where
    the readings were taken at other times after the flag, that is said. Names and values are those
    of the snapshots. `rise_text` writes a temperature difference given in K.

    Returns:
        The changes in the order gear, set-up, tyres, other parts, conditions, results.

    >>> from datetime import UTC, datetime
    >>> from pitapp.runs.models import FittedCar, Snapshot
    >>> first = Run(car_id=1, started_at=datetime(2026, 5, 3, 10, tzinfo=UTC), track_id=1,
    ...     pinion_teeth=43, spur_teeth=66, internal_ratio=1.9, can_c=60, best_lap_s=15.02,
    ...     snapshot=Snapshot(car=FittedCar(id=1, name="Test car")))
    >>> second = first.model_copy(update={"pinion_teeth": 45, "can_c": 66, "best_lap_s": 14.91})
    >>> in_one_line(changes(first, second))
    'pinion 43 → 45, FDR 2.92 → 2.79, can +6 °C, best lap −0.11 s'
    """
    same_car = earlier.car_id == later.car_id
    return tuple(
        Change(topic=topic, text=text, result=topic == "result")
        for topic, items in (
            ("gear", _gear(earlier, later)),
            ("setup", _setup(earlier, later) if same_car else ()),
            ("tyres", _tyres(earlier, later)),
            ("parts", _parts(earlier, later)),
            ("conditions", _conditions(earlier, later, rise_text)),
            ("result", _results(earlier, later, rise_text)),
        )
        for text in items
    )


def in_one_line(items: Iterable[Change]) -> str:
    """The changes one after the other, or "nothing changed"."""
    return ", ".join(change.text for change in items) or "nothing changed"


def figure(value: float) -> str:
    """A number with a true minus sign and no needless zeros.

    >>> figure(-1.50), figure(62.5), figure(1.9)
    ('−1.5', '62.5', '1.9')
    """
    return with_minus(f"{value:.6g}")


def _moved(name: str, before: float | None, after: float | None, unit: str = "") -> Iterator[str]:
    if before is not None and after is not None and before != after:
        yield f"{name} {figure(before)} → {figure(after)}{unit}"


def _gear(earlier: Run, later: Run) -> Iterator[str]:
    yield from _moved("pinion", earlier.pinion_teeth, later.pinion_teeth)
    yield from _moved("spur", earlier.spur_teeth, later.spur_teeth)
    yield from _moved("internal ratio", earlier.internal_ratio, later.internal_ratio)
    before, after = earlier.final_drive_ratio, later.final_drive_ratio
    if before is not None and after is not None and before != after:
        texts = ratio_texts((before, after))
        if texts[0] != texts[1]:
            yield f"FDR {texts[0]} → {texts[1]}"


def _setup(earlier: Run, later: Run) -> Iterator[str]:
    yield from _settings(earlier.snapshot.setup, later.snapshot.setup)


def _key(setting: Setting) -> tuple[str, str]:
    return setting.group.casefold(), setting.name.casefold()


def entry_name(setting: Setting) -> str:
    """The entry by its group and name, as it stands in a sentence.

    >>> entry_name(Setting(group="Rear", name="Springs")), entry_name(Setting(name="ARB"))
    ('rear springs', 'ARB')
    """
    words = f"{setting.group} {setting.name}".split()
    return " ".join(word if word.isupper() and len(word) > 1 else word.lower() for word in words)


def _settings(before: Iterable[Setting], after: Iterable[Setting]) -> Iterator[str]:
    old, new = ({_key(item): item for item in listed} for listed in (before, after))
    for key, setting in new.items():
        if key not in old:
            yield f"{entry_name(setting)} added ({setting.text})"
        elif word := _altered(old[key], setting):
            yield word
    for key, setting in old.items():
        if key not in new:
            yield f"{entry_name(setting)} no longer noted (was {setting.text})"


def _altered(old: Setting, new: Setting) -> str:
    word = direction_word(new.name, old.value, new.value, new.unit) if old.unit == new.unit else ""
    if word == "same":
        return ""
    text = f"{with_unit(old.value, '')} → {new.text}" if old.unit == new.unit else ""
    text = text or f"{old.text} → {new.text}"
    return f"{entry_name(new)} {word} ({text})" if word else f"{entry_name(new)} {text}"


def _tyres(earlier: Run, later: Run) -> Iterator[str]:
    old, new = earlier.snapshot.tyres, later.snapshot.tyres
    if old and new:
        yield from _tyre_sets(old, new)
    elif new:
        yield f"tyres now {new.name}, {_count(new.runs_done, 'run')} old"
    yield from _moved("tyre diameter", earlier.tyre_diameter_mm, later.tyre_diameter_mm, " mm")


def _tyre_sets(old: FittedTyres, new: FittedTyres) -> Iterator[str]:
    older = new.runs_done - old.runs_done
    age = f"{_count(abs(older), 'run')} {'older' if older > 0 else 'newer'}" if older else ""
    if old.id != new.id:
        named = f"tyres {old.name} → {new.name}"
        kinds = f"{old.kind or 'no kind'} → {new.kind or 'no kind'}" if old.kind != new.kind else ""
        yield ", ".join(filter(None, (named, kinds, age)))
    elif age:
        yield f"tyres {age}"
    if old.treatment != new.treatment:
        yield f"tyre treatment {old.treatment or 'none'} → {new.treatment or 'none'}"


def _parts(earlier: Run, later: Run) -> Iterator[str]:
    old, new = earlier.snapshot, later.snapshot
    if earlier.car_id != later.car_id:
        yield f"car {old.car.name} → {new.car.name}"
    if old.motor and new.motor and old.motor.id != new.motor.id:
        yield f"motor {old.motor.name} → {new.motor.name}"
    if old.pack and new.pack and old.pack.id != new.pack.id:
        yield f"pack {old.pack.mark} → {new.pack.mark}"
    if old.controller and new.controller:
        yield from _controllers(old.controller, new.controller)
    yield from _moved("car's weight", old.car.mass_g, new.car.mass_g, " g")


def _controllers(old: FittedController, new: FittedController) -> Iterator[str]:
    if old.id != new.id:
        yield f"controller {old.name} → {new.name}"
        return
    if old.firmware != new.firmware:
        yield f"firmware {old.firmware or 'unknown'} → {new.firmware or 'unknown'}"
    ungrouped = [
        [setting.model_copy(update={"group": ""}) for setting in listed.settings]
        for listed in (old, new)
    ]
    yield from _settings(*ungrouped)


def _conditions(earlier: Run, later: Run, rise_text: Callable[[float], str]) -> Iterator[str]:
    if earlier.track_id != later.track_id and earlier.track_id and later.track_id:
        yield "another track"
    if earlier.air_c is not None and later.air_c is not None and earlier.air_c != later.air_c:
        yield f"air {rise_text(later.air_c - earlier.air_c)}"
    warmer = (later.track_c or 0) - (earlier.track_c or 0)
    if warmer and earlier.track_c is not None and later.track_c is not None:
        yield f"track {rise_text(warmer)}"
    for name, words in WORDS.items():
        before, after = getattr(earlier, name), getattr(later, name)
        if before and after and before != after:
            yield f"{words[before]} → {words[after]}"


def _results(earlier: Run, later: Run, rise_text: Callable[[float], str]) -> Iterator[str]:
    if earlier.can_c is not None and later.can_c is not None:
        yield f"can {rise_text(later.can_c - earlier.can_c)}{_read_otherwise(earlier, later)}"
    if later.track_id is None or earlier.track_id != later.track_id:
        return
    if earlier.best_lap_s is not None and later.best_lap_s is not None:
        yield f"best lap {_seconds(later.best_lap_s - earlier.best_lap_s)}"
    if earlier.laps is not None and later.laps is not None and earlier.laps != later.laps:
        more = later.laps - earlier.laps
        yield f"{_count(abs(more), 'lap')} {'more' if more > 0 else 'fewer'}"


def _read_otherwise(earlier: Run, later: Run) -> str:
    if earlier.read_after_s is None or later.read_after_s is None:
        return ""
    delay = later.read_after_s - earlier.read_after_s
    if abs(delay) < SAME_MOMENT_S:
        return ""
    return f" (read {figure(abs(delay))} s {'later' if delay > 0 else 'sooner'} after the flag)"


def _seconds(value: float) -> str:
    decimals = 2 if round(value * 1000) % 10 == 0 else 3
    text = with_minus(f"{value:+.{decimals}f}")
    return f"{text} s" if float(f"{value:.{decimals}f}") else "the same"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"

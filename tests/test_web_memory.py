"""What is remembered: by its values and the settings, no more of it than allowed, for all threads."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import count

from flask import Flask

from pitapp.db import settings
from pitapp.web.memory import Memory
from pitapp.web.remembered import remembered


def counter() -> Callable[[], int]:
    numbers = count(1)
    return lambda: next(numbers)


def test_the_same_values_are_made_of_once() -> None:
    store, make = Memory(), counter()
    assert [store.of(values, make) for values in ("a", "b", "a", "b", ("a",))] == [1, 2, 1, 2, 3]


def test_the_longest_unused_goes_first() -> None:
    store, make = Memory(most=2), counter()
    assert [store.of(values, make) for values in "abacab"] == [1, 2, 1, 3, 1, 4]
    assert len(store) == 2


def test_nothing_made_is_not_remembered() -> None:
    store = Memory()
    assert store.of("a", lambda: None) is None
    assert store.of("a", lambda: 7) == 7


def test_what_fails_is_not_remembered() -> None:
    store = Memory()
    for _ in range(2):
        try:
            store.of("a", lambda: 1 // 0)
        except ZeroDivisionError:
            continue
        raise AssertionError("the failure was swallowed")
    assert store.of("a", lambda: 7) == 7


def test_threads_get_what_belongs_to_their_values() -> None:
    store = Memory(most=5)
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda n: store.of(n % 9, lambda: f"made of {n % 9}"), range(4000)))
    assert found == [f"made of {n % 9}" for n in range(4000)]
    assert len(store) == 5


def test_other_settings_are_another_thing(app: Flask, db: sqlite3.Connection) -> None:
    make = counter()

    def ask() -> int:
        with app.app_context():
            found: int = remembered("a", make)
            return found

    assert [ask(), ask()] == [1, 1]
    settings.save(db, "mass_unit", "imperial")
    assert ask() == 2
    settings.save(db, "mass_unit", None)
    assert ask() == 1

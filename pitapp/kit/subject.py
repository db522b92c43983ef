"""Which car a form is about: the one that its page was about, whatever was chosen since.

`pitapp.kit.subject.form_car`: the car that a form is about, which its page names by `{{
ui.about(car) }}`; never the car in use, which another device may have changed by the time the form
is saved, or sent from an outbox. Where that is not certain, `WhichOne` (422) or `Gone` (409) asks
for it with a form that holds what was typed. `other_car_note` is the end of the sentence that says
so.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from flask import request

from pitapp.db.removed import removed_name
from pitapp.errors import Gone, NotThere, Question, WhichOne
from pitapp.kit import store
from pitapp.kit.models import Car
from pitapp.web.clock import current_settings, is_late

FIELD = "car_id"


def form_car(connection: sqlite3.Connection, among: Sequence[Car] | None = None) -> Car | None:
    """The car that the form being answered is about, or None where there is no car for it.

    A form without the field is about the car in use. One that waited on a phone is not certain of
    that: it is taken for the only one.

    Args:
        among: the cars that a form without the field may be about; None for every car.

    Raises:
        Gone: the car that it names was removed.
        WhichOne: it names an unknown one, or waited, names none and may be about several.
    """
    cars = store.cars(connection)
    sent = request.form.get(FIELD, "").strip()
    if sent:
        match = next((car for car in cars if str(car.id) == sent), None)
        if match is not None:
            return match
        gone = gone_sentence(connection, int(sent) if sent.isdecimal() else None)
        if gone:
            raise Gone(gone, question(cars))
        raise WhichOne("The car that this names is not on record here.", question(cars))
    among = cars if among is None else among
    if is_late() and len(among) > 1:
        raise WhichOne("This waited on a phone and does not say for which car.", question(among))
    in_use = store.current_car(connection, current_settings())
    return in_use if in_use in among else next(iter(among), None)


def form_car_needed(connection: sqlite3.Connection) -> Car:
    """As `form_car`, where there is nothing to save without a car.

    Raises:
        NotThere: there is no car yet.
        Gone, WhichOne: as `form_car` does.
    """
    own = form_car(connection)
    if own is None:
        raise NotThere("There is no car yet. Add it under Kit first.")
    return own


def question(cars: Sequence[Car]) -> Question:
    """The question for the car, with these to choose from."""
    return Question(FIELD, "For which car?", tuple((str(car.id), car.name) for car in cars))


def gone_sentence(connection: sqlite3.Connection, car_id: int | None) -> str:
    """A sentence on a car that was removed; empty where it was not, or never was there."""
    name = removed_name(connection, FIELD, car_id) if car_id else None
    return f"{name} was removed after this page was opened." if name else ""


def other_car_note(connection: sqlite3.Connection, car: Car) -> str:
    """Ending of a "saved" notice: names the car if it is not the one in use now."""
    note = in_use_note(connection, car)
    return f", for {car.name}{note}" if note else ""


def in_use_note(connection: sqlite3.Connection, car: Car) -> str:
    """As `other_car_note`, behind a sentence that has named the car."""
    in_use = store.current_car(connection, current_settings())
    return f". In use now: {in_use.name}" if in_use and in_use.id != car.id else ""

"""From a form to a model: what pydantic finds wrong stands at the field, in the racer's words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, TypeVar

from flask import Flask, has_request_context, request
from flask_wtf import FlaskForm
from pydantic import BaseModel, ValidationError
from wtforms.widgets import TextInput

from pitapp.record import Record, finding_sentence
from pitapp.web.clock import is_late
from pitapp.web.http.typed_text import in_one_line
from pitapp.web.writes import refusals

Model = TypeVar("Model", bound=BaseModel)


UNSEEN = "There was a character in it that cannot be seen. It was taken out: look at it, then save again."


class PitForm(FlaskForm):
    """The base of every form."""

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        _say_what_was_cleaned(self)
        refusals.watch(self)

    def fill(self, model: type[Model], **more: Any) -> Model | None:
        """The model made from this form's fields and `more`, or None with the errors at the fields."""
        if not self.validate_on_submit():
            return None
        values = {
            name: field.data
            for name, field in self._fields.items()
            if name in model.model_fields and field.data is not None
        }
        try:
            return model(**(values | more))
        except ValidationError as error:
            self.add_errors(error)
            return None

    def add_errors(self, error: ValidationError) -> None:
        """Put each of pydantic's findings at the field it is about."""
        for finding in error.errors():
            name = str(finding["loc"][0]) if finding["loc"] else ""
            field = self._fields.get(name)
            sentence = in_words(finding)
            if field is None:
                self.form_errors.append(sentence)
            else:
                field.errors = [*field.errors, sentence]

    def show_conflict(self, current: Record, sentence: str) -> None:
        """Show where the record as it is now differs from what was typed; saving again overwrites it."""
        self.form_errors.append(sentence)
        for name, value in current.model_dump().items():
            field = self._fields.get(name)
            if name == "version" and field is not None:
                field.data = str(value)
            elif field is not None and (field.data or None) not in (value or None, str(value)):
                now_there = (
                    "empty"
                    if value in (None, "")
                    else f"{value:g}"
                    if isinstance(value, float)
                    else value
                )
                field.errors = [*field.errors, f"On the other screen this became {now_there}."]

    @property
    def failed(self) -> bool:
        """Whether anything is wrong with what was sent."""
        return bool(self.errors)


def _say_what_was_cleaned(form: Any) -> None:
    """Refuse each text field that held what cannot be seen, but from a phone on which it waited."""
    cleaned: frozenset[str] = frozenset()
    if has_request_context():
        cleaned = getattr(request.form, "cleaned", cleaned)
    for field in _inner(form):
        if not field.raw_data or field.type in ("HiddenField", "CSRFTokenField"):
            continue
        unseen = field.name in cleaned
        if type(field.widget) is TextInput and isinstance(field.data, str):
            line = in_one_line(field.data.strip())
            unseen = unseen or line != field.data.strip()
            field.data = line if unseen else field.data
        if unseen and not is_late():
            field.process_errors = [*field.process_errors, UNSEEN]
            field.errors = [*field.errors, UNSEEN]


def _inner(form: Any) -> Iterator[Any]:
    for field in form:
        if not hasattr(field, "entries"):
            yield field
            continue
        for entry in field.entries:
            yield from _inner(entry.form) if hasattr(entry, "form") else (entry,)


def filled(fields: Iterable[Any], item: object = None) -> bool:
    """Whether a fold with these fields is open: at a fault, at what was typed, at a value on record."""
    return any(_filled(field, item is not None) for field in fields)


def _filled(field: Any, on_record: bool) -> bool:
    if field.errors:
        return True
    if hasattr(field, "entries"):
        return any(
            _filled(inner, on_record)
            for entry in field.entries
            for inner in (entry.form if hasattr(entry, "form") else [entry])
            if inner.type != "HiddenField"
        )
    typed = any(str(each).strip() for each in field.raw_data or ())
    return bool(typed or (on_record and field.data not in (None, "", False)))


def faults(form: Any) -> list[tuple[str, str]]:
    """Every field at fault, in the form's order, as its id and its label."""
    listed = []
    for field in form:
        if hasattr(field, "entries") and field.entries and hasattr(field.entries[0], "form"):
            for entry in field.entries:
                listed += faults(entry.form)
        elif field.errors and field.type not in ("HiddenField", "CSRFTokenField"):
            listed.append((field.id, field.label.text))
    return listed


def register(app: Flask) -> None:
    """Give templates the filters `filled` and `faults`."""
    app.jinja_env.filters.update(filled=filled, faults=faults)


def in_words(finding: Any) -> str:
    """One of pydantic's findings as a sentence.

    >>> in_words({"type": "greater_than", "ctx": {"gt": 0}, "msg": ""})
    'This must be more than 0.'
    """
    context = finding.get("ctx") or {}
    sentences = {
        "greater_than": "This must be more than {gt:g}.",
        "greater_than_equal": "This must be at least {ge:g}.",
        "less_than": "This must be less than {lt:g}.",
        "less_than_equal": "This must be at most {le:g}.",
        "string_too_long": "Keep this under {max_length} characters.",
        "string_too_short": "This is needed.",
        "too_long": "There are too many of these: at most {max_length}.",
        "missing": "This is needed.",
        "finite_number": "This must be a finite number.",
        "float_parsing": "Write a number here, such as 63.5.",
        "int_parsing": "Write a whole number here.",
        "int_from_float": "Write a whole number here.",
        "literal_error": "Choose one of the list.",
        "enum": "Choose one of the list.",
    }
    sentence = sentences.get(finding["type"])
    if sentence:
        return sentence.format(**context)
    return finding_sentence(finding)

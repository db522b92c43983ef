"""What a sent form leads to: its record is saved, or the form is shown again with what is wrong."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

from flask import make_response

from pitapp.errors import ChangedMeanwhile
from pitapp.record import Record
from pitapp.web.clock import now
from pitapp.web.forms.form_errors import PitForm
from pitapp.web.writes.transactions import Unsaved

Form = TypeVar("Form", bound=PitForm)
Stored = TypeVar("Stored", bound=Record | None)
Model = TypeVar("Model", bound=Record)
Saved = TypeVar("Saved")


def save_form(
    connection: sqlite3.Connection,
    form: Form,
    stored: Stored,
    record: Model | None,
    save: Callable[[sqlite3.Connection, Model, datetime], Saved],
    show: Callable[[Form, Stored, int], Any],
) -> tuple[Model, Saved]:
    """Save what a form says, in a view that is wrapped by `write`; returns it and what `save` returned.

    Where it cannot be saved the write ends here: `show` answers with the form and what is wrong with
    it (422), or with what became of the record on another screen (409).

    Args:
        stored: the record as it is now, read in this write; None: it is a new one.
        record: what the form says; None: it is at fault.
        save: of the room's store.
        show: makes the page from the form, what is stored, and the status.
    """
    if record is None:
        raise Unsaved(make_response(show(form, stored, 422)))
    try:
        return record, save(connection, record, now())
    except ChangedMeanwhile as error:
        if stored is None:
            raise
        form.show_conflict(stored, str(error))
        raise Unsaved(make_response(show(form, stored, 409))) from error

"""A copy a day while the app is in use: made beside the requests, or between them where there are no threads."""

from __future__ import annotations

import logging
import sqlite3
import threading
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

from flask import Flask

from pitapp.copies import store
from pitapp.db import idempotency
from pitapp.db.connect import Database
from pitapp.errors import PitappError

CHECK_EVERY = timedelta(minutes=30)
log = logging.getLogger(__name__)


def start(app: Flask) -> None:
    """From now on let requests see to it that a copy is made when it is due (`store.daily_due`)."""
    database: Database = app.extensions["pitapp.db"]
    data_dir: Path = app.config["PITAPP_DATA_DIR"]
    store.tidy(data_dir)
    looked_at: list[datetime] = []

    def look() -> None:
        now: datetime = app.extensions["pitapp.clock"]()
        if looked_at and abs(now - looked_at[-1]) < CHECK_EVERY:
            return
        looked_at[:] = [now]
        if store.daily_due(data_dir, now):
            threading.Thread(target=_copy, args=(database, data_dir, now), daemon=True).start()

    app.before_request(look)


def copy_if_due(app: Flask) -> Path | None:
    """Make the day's copy now, if there is none yet; where it is, if one was made."""
    now: datetime = app.extensions["pitapp.clock"]()
    data_dir: Path = app.config["PITAPP_DATA_DIR"]
    if not store.daily_due(data_dir, now):
        return None
    return _copy(app.extensions["pitapp.db"], data_dir, now)


def _copy(database: Database, data_dir: Path, now: datetime) -> Path | None:
    try:
        with closing(database.another()) as connection:
            path = store.keep_copy(connection, data_dir, store.DAILY, now)
            idempotency.forget_old_answers(connection, now)
    except (PitappError, OSError, sqlite3.Error) as error:
        log.warning("The daily copy could not be made: %s", error)
        return None
    return path

"""Putting the application together: data folder, database, security, rooms."""

from __future__ import annotations

import os
import secrets
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from importlib import import_module
from pathlib import Path

from flask import Flask
from flask_wtf import CSRFProtect

from pitapp.db.connect import Database
from pitapp.db.migrate import migrate
from pitapp.devices import guard
from pitapp.errors import DamagedDatabase, DataError, Refused
from pitapp.web import clock as wall_clock
from pitapp.web import place
from pitapp.web.forms import form_errors, quantities
from pitapp.web.http import (
    addresses,
    assets,
    bodies,
    compress,
    cookies,
    csrf_token,
    error_pages,
    headers,
    htmx,
    identity,
)
from pitapp.web.view import compiled, icons, nav, plot
from pitapp.web.writes import notices, onward, refusals, saved, typed, undo

PACKAGE = Path(__file__).resolve().parent.parent
LOCAL_HOSTS = ["localhost", "127.0.0.1", "[::1]"]
ROOMS = (
    "board",
    "meetings",
    "tracks",
    "drive",
    "runs",
    "gearing",
    "kit",
    "bench",
    "checks",
    "packs",
    "roll",
    "sound",
    "copies",
    "exchange",
    "handout",
    "settings",
    "devices",
    "offline",
)
DATABASE_NAME = "pitapp.sqlite3"


def build(
    data_dir: Path | str | None, *, clock: Callable[[], datetime] | None, invented: bool
) -> Flask:
    """See `pitapp.create_app`."""
    folder = Path(data_dir) if data_dir is not None else default_data_dir()
    key = open_data_dir(folder)
    app = Flask(
        "pitapp", static_folder=str(beside("static")), template_folder=str(beside("templates"))
    )
    app.config.update(
        SECRET_KEY=key,
        SESSION_COOKIE_NAME=f"pitapp_{sha256(key.encode()).hexdigest()[:8]}",
        SESSION_COOKIE_SAMESITE="Strict",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_REFRESH_EACH_REQUEST=False,
        PERMANENT_SESSION_LIFETIME=timedelta(days=400),
        WTF_CSRF_TIME_LIMIT=None,
        MAX_CONTENT_LENGTH=32 * 1024 * 1024,
        MAX_FORM_MEMORY_SIZE=2 * 1024 * 1024,
        PITAPP_HOSTS=set(LOCAL_HOSTS),
        SEND_FILE_MAX_AGE_DEFAULT=None,
        PITAPP_DATA_DIR=folder,
        PITAPP_INVENTED=invented,
        PITAPP_IN_BROWSER=False,
        PITAPP_FOLDER_ADDRESS="",
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    migrate(folder / DATABASE_NAME, before=lambda connection: _copy_first(connection, folder))
    app.extensions["pitapp.db"] = Database(folder / DATABASE_NAME)
    app.extensions["pitapp.clock"] = clock or (lambda: datetime.now(UTC))
    addresses.register(app)
    compiled.register(app)
    headers.register(app)
    guard.register(app)
    identity.register(app)
    CSRFProtect(app)
    for part in (
        compress,  # what is registered first sees an answer last
        assets,
        bodies,
        cookies,
        icons,
        error_pages,
        htmx,
        quantities,
        form_errors,
        wall_clock,
        nav,
        notices,
        place,
        csrf_token,
        undo,
        typed,
        onward,
        plot,
        saved,
        refusals,
    ):
        part.register(app)
    register_rooms(app)
    app.jinja_env.globals["ui"] = app.jinja_env.get_template("macros.html").module
    return app


def _copy_first(connection: sqlite3.Connection, folder: Path) -> None:
    from pitapp.copies.store import BEFORE_UPDATE, keep_copy

    try:
        keep_copy(connection, folder, BEFORE_UPDATE, datetime.now(UTC))
    except Refused as error:
        raise DamagedDatabase(
            f"The data in {folder} is damaged, so it was not brought up to date. Restore a copy: "
            f"pitapp inspect says which there are. ({error})"
        ) from error


def register_rooms(app: Flask) -> None:
    """Give the app every room's pages."""
    for room in ROOMS:
        app.register_blueprint(import_module(f"pitapp.{room}.routes").blueprint)


def beside(name: str) -> Path:
    """The folder `name` inside the installed package, or beside it in a checkout."""
    inside = PACKAGE / name
    return inside if inside.is_dir() else PACKAGE.parent / name


def default_data_dir() -> Path:
    """The platform's own folder for this app's data."""
    import platformdirs

    return platformdirs.user_data_path("pitapp", appauthor=False)


def open_data_dir(folder: Path) -> str:
    """Make the data folder if it is missing and return the secret key kept in it.

    Raises:
        DataError: the folder or the key cannot be made or read.
    """
    key_file = folder / "secret.key"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not key_file.exists():
            fresh = folder / f"secret.key.{os.getpid()}.part"
            fresh.touch(mode=0o600)
            fresh.write_text(secrets.token_hex(32), encoding="ascii")
            try:
                os.link(fresh, key_file)
            except FileExistsError:
                pass
            except OSError:
                fresh.replace(key_file)
            fresh.unlink(missing_ok=True)
        return key_file.read_text(encoding="ascii").strip()
    except OSError as error:
        raise DataError(
            f"The data folder {folder} cannot be used ({error.strerror or error}). "
            "Choose another one with --data, or mend its permissions."
        ) from error

"""Devices, pairing codes and wrong guesses in the database."""

from __future__ import annotations

import hashlib
import secrets
import sqlite3
from datetime import datetime, timedelta
from secrets import compare_digest
from typing import NamedTuple

from pitapp.db import to_db, transaction, undo
from pitapp.db.connect import BUSY_TIMEOUT_MS
from pitapp.devices.guesses import Guesses
from pitapp.devices.models import Code, Device
from pitapp.errors import NotThere

CODE_LIFE = timedelta(minutes=5)
CODE_DIGITS = 8
SEEN_EVERY = timedelta(minutes=1)
_DEVICE = ", ".join(Device.model_fields)


class Paired(NamedTuple):
    """The token for the cookie of a device that was let in, empty for a wrong guess; and the code
    that took the place of one that had too many.
    """

    token: str
    next_code: Code | None = None


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def devices(connection: sqlite3.Connection) -> list[Device]:
    """Every device that may come in, the last seen first."""
    rows = connection.execute(
        f"SELECT {_DEVICE} FROM devices WHERE removed_at IS NULL "  # noqa: S608
        "ORDER BY last_seen_at DESC, id DESC"
    )
    return [Device(**row) for row in rows]


def device_by_token(connection: sqlite3.Connection, token: str) -> Device | None:
    """The device that holds this token, unless it was removed."""
    row = connection.execute(
        f"SELECT {_DEVICE} FROM devices "  # noqa: S608
        "WHERE token_hash = ? AND removed_at IS NULL",
        (_hashed(token),),
    ).fetchone()
    return None if row is None else Device(**row)


def note_seen(connection: sqlite3.Connection, device: Device, address: str, now: datetime) -> None:
    """Note that the device was here, once a minute at most; where that cannot be written, later."""
    if device.address == address and abs(now - device.last_seen_at) < SEEN_EVERY:
        return
    connection.execute("PRAGMA busy_timeout = 0")
    try:
        connection.execute(
            "UPDATE devices SET last_seen_at = ?, address = ? WHERE id = ?",
            (to_db(now), address, device.id),
        )
    except sqlite3.OperationalError:
        return
    finally:
        connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS:d}")


def remove(connection: sqlite3.Connection, device_id: int, now: datetime) -> tuple[str, str]:
    """Shut a device out; its name, and the token that undoes it.

    Raises:
        NotThere: there is no such device.
    """
    row = connection.execute(
        "SELECT name FROM devices WHERE id = ? AND removed_at IS NULL", (device_id,)
    ).fetchone()
    if row is None:
        raise NotThere("There is no such device. It may have been removed already.")
    with undo.step(connection, f"Removed {row['name']}", now) as step:
        step.record_before("devices", device_id)
        connection.execute(
            "UPDATE devices SET removed_at = ? WHERE id = ?", (to_db(now), device_id)
        )
    return str(row["name"]), step.token


def new_code(connection: sqlite3.Connection, now: datetime) -> Code:
    """Make a code; every earlier one is void."""
    code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}}"
    expires = now + CODE_LIFE
    with transaction(connection):
        connection.execute("DELETE FROM pairing_codes")
        cursor = connection.execute(
            "INSERT INTO pairing_codes (code, made_at, expires_at) VALUES (?, ?, ?)",
            (code, to_db(now), to_db(expires)),
        )
    return Code(id=cursor.lastrowid or 0, code=code, expires_at=expires)


def open_code(connection: sqlite3.Connection, now: datetime) -> Code | None:
    """The code that lets a device in now, if there is one."""
    row = connection.execute(
        "SELECT id, code, expires_at FROM pairing_codes WHERE used_at IS NULL AND expires_at > ?",
        (to_db(now),),
    ).fetchone()
    return None if row is None else Code(**row)


def pair(
    connection: sqlite3.Connection,
    guesses: Guesses,
    guess: str,
    name: str,
    address: str,
    now: datetime,
    *,
    in_place_of: str = "",
) -> Paired:
    """Let a device in by its code; a wrong guess is counted, and may be the code's last.

    The token that the device had before, if any, lets nobody in any more.

    Raises:
        Waiting: the address has to wait; its guess was not looked at.
    """
    with guesses.attempt(address, now) as look:
        code = open_code(connection, now)
        if code is None or look.is_over(code.code) or not compare_digest(code.code, guess):
            over = look.wrong(code.code if code else "")
            return Paired("", new_code(connection, now) if code and over else None)
        with transaction(connection):
            connection.execute(
                "UPDATE devices SET removed_at = ? WHERE token_hash = ? AND removed_at IS NULL",
                (to_db(now), _hashed(in_place_of)),
            )
            token = secrets.token_urlsafe(32)
            connection.execute(
                "UPDATE pairing_codes SET used_at = ? WHERE id = ?", (to_db(now), code.id)
            )
            connection.execute(
                "INSERT INTO devices (name, token_hash, address, paired_at, last_seen_at) "
                "VALUES (?, ?, ?, ?, ?)",
                (name, _hashed(token), address, to_db(now), to_db(now)),
            )
        look.right()
        return Paired(token)

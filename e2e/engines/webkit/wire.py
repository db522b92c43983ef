"""The line to the other side: events and answers out, each one line of JSON."""

from __future__ import annotations

import json
import os
import time
import uuid
from collections.abc import Callable
from typing import Any

Json = dict[str, Any]
Reply = Callable[[Json], None]
Fail = Callable[[str], None]

OUT = os.fdopen(os.dup(1), "w", encoding="utf-8")


class CommandError(Exception):
    """A command that cannot be carried out; the message says why."""


def new_id() -> str:
    return str(uuid.uuid4())


def now_ms() -> int:
    return int(time.time() * 1000)


def send(message: Json) -> None:
    OUT.write(json.dumps(message) + "\n")
    OUT.flush()


def event(method: str, /, **params: object) -> None:
    send({"type": "event", "method": method, "params": params})

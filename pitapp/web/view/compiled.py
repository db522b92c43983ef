"""Templates compiled beforehand: where the app starts anew with each visit, nobody waits for them.

A built package may bring them in a folder, each checked by Jinja against the source beside it; what
is not there is compiled when it is first wanted, as everywhere else.
"""

from __future__ import annotations

from pathlib import Path

from flask import Flask
from jinja2 import FileSystemBytecodeCache

FOLDER = Path(__file__).resolve().parents[2] / "compiled_templates"


def register(app: Flask) -> None:
    """Take the templates from the folder, if this package has one."""
    if FOLDER.is_dir():
        app.jinja_env.bytecode_cache = FileSystemBytecodeCache(str(FOLDER))

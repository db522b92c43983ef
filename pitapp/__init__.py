"""pitapp: the race day of an electric model touring car, on a phone with no signal."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flask import Flask

__version__ = "0.2.0"
__all__ = ["__version__", "create_app"]


def create_app(
    data_dir: Path | str | None = None,
    *,
    clock: Callable[[], datetime] | None = None,
    invented: bool = False,
) -> Flask:
    """Make the application over the data in `data_dir` (the platform's data folder if None).

    Args:
        data_dir: folder of the database and the secret key; made if it is missing.
        clock: gives the present time as an aware datetime; the system's if None.
        invented: mark every page as showing invented demo data.

    Raises:
        pitapp.errors.PitappError: the data cannot be opened, with a sentence saying what to do.
    """
    import gc

    collecting = gc.isenabled()
    gc.disable()
    try:
        from pitapp.web.factory import build

        return build(data_dir, clock=clock, invented=invented)
    finally:
        if collecting:
            gc.enable()

"""What is said on the terminal: where nobody listens any more, the work goes on."""

from __future__ import annotations

import os
import sys

import click


def open_streams() -> None:
    """See to it that input, output and errors go somewhere.

    A program that is started with one of them closed would give its number to the next file or
    connection that it opens, and what is said would go there.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            # The lowest number that is free: this one.
            os.open(os.devnull, os.O_RDWR)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: PTH123, SIM115


def tell(text: str, *, err: bool = False) -> None:
    """Print, and stop printing for good once the terminal is closed or full."""
    try:
        click.echo(text, err=err)
        (sys.stderr if err else sys.stdout).flush()
    except OSError:
        stream = sys.stderr if err else sys.stdout
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)

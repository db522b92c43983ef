"""`pitapp pocket FOLDER`."""

from __future__ import annotations

from pathlib import Path

import click

from pitapp.terminal import tell


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
def pocket(folder: Path) -> None:
    """Write a folder from which a phone runs pitapp by itself, in its browser.

    Put the folder on any web space, or try it here: python -m http.server -d FOLDER
    """
    from pitapp.pocket.build import build

    made = build(folder)
    size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
    tell(f"{folder} is ready: {size / 1e6:.1f} MB, version {made['version']}.")
    tell(f"Try it on this machine: python -m http.server -b 127.0.0.1 -d {folder} 8520")

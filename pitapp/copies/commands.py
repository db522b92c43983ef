"""`pitapp backup`, `pitapp restore` and `pitapp inspect`."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from pitapp.copies import store
from pitapp.db.connect import Database
from pitapp.db.examine import Contents, examine
from pitapp.errors import DataError, Refused

DATA = click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of your data; the platform's own data folder if not given.",
)


def _folder(data: Path | None) -> Path:
    from pitapp.web.factory import default_data_dir

    folder = data or default_data_dir()
    if not folder.is_dir():
        raise DataError(f"There is no data folder {folder}.")
    return folder


def _told(contents: Contents) -> str:
    newest = f"{contents.newest_run_at:%Y-%m-%d %H:%M} UTC" if contents.newest_run_at else "none"
    return (
        f"{contents.runs} runs (newest: {newest}), {contents.cars} cars, "
        f"{contents.gears_fitted} gears fitted, schema {contents.schema_version}"
    )


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@DATA
def backup(file: Path, data: Path | None) -> None:
    """Write a consistent copy of your data to FILE, also while pitapp is in use."""
    from pitapp.web.factory import DATABASE_NAME

    folder = _folder(data)
    if not (folder / DATABASE_NAME).is_file():
        raise DataError(f"There is no data in {folder} yet.")
    database = Database(folder / DATABASE_NAME)
    try:
        click.echo(f"{file}: {_told(store.write_copy(database.connection(), file))}")
    finally:
        database.close()


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--yes", is_flag=True, help="Do not ask.")
@DATA
def restore(file: Path, yes: bool, data: Path | None) -> None:
    """Bring the copy FILE back; what is there now is copied first."""
    from pitapp import create_app

    contents = examine(file)
    click.echo(f"{file}: {_told(contents)}")
    if not yes:
        click.confirm("Replace all data by this copy?", abort=True)
    app = create_app(data)
    database: Database = app.extensions["pitapp.db"]
    folder: Path = app.config["PITAPP_DATA_DIR"]
    try:
        before = store.restore(database.connection(), file, folder, datetime.now(UTC))
    finally:
        database.close()
    click.echo(f"Done. What was there before is kept as {before}")


@click.command()
@DATA
def inspect(data: Path | None) -> None:
    """Look whether your data is sound, and say what to do if it is not."""
    from pitapp.web.factory import DATABASE_NAME

    folder = _folder(data)
    path = folder / DATABASE_NAME
    if not path.is_file():
        raise DataError(f"There is no data in {folder}. Start pitapp once, or restore a copy.")
    try:
        click.echo(f"{path}: sound. {_told(examine(path))}")
    except Refused as error:
        copies = store.kept(folder)
        advice = (
            f"Restore the newest copy: pitapp restore {folder / store.FOLDER / copies[0].name}"
            if copies
            else "There is no copy in its folder; look for one that you took away."
        )
        raise DataError(f"{path} is not sound: {error} {advice}") from None
    for copy in store.kept(folder):
        click.echo(f"  copy: {copy.name}")

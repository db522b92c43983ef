"""The `pitapp` command."""

from __future__ import annotations

import signal
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pitapp import __version__

if TYPE_CHECKING:
    from flask import Flask

Command = TypeVar("Command", bound=Callable[..., Any])
DEFAULT_PORT = 8510
DEMO_PORT = 8511


class Lazy(click.Group):
    """The group of commands; those of the copies are imported when one is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names of all commands."""
        return sorted({*super().list_commands(ctx), "backup", "restore", "inspect"})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name."""
        if cmd_name in ("backup", "restore", "inspect"):
            from pitapp.copies import commands

            command: click.Command = getattr(commands, cmd_name)
            return command
        return super().get_command(ctx, cmd_name)


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="pitapp")
def cli() -> None:
    """The race day of an electric model touring car, on a phone with no signal."""


def _serving(port: int) -> Callable[[Command], Command]:
    def options(command: Command) -> Command:
        host = click.option(
            "--host", default="127.0.0.1", show_default=True, help="Address to listen on."
        )
        where = click.option(
            "--port",
            default=port,
            show_default=True,
            type=click.IntRange(0, 65535),
            help="Port to listen on; 0 takes a free one.",
        )
        return host(where(command))

    return options


@cli.command()
@_serving(DEFAULT_PORT)
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of your data; the platform's own data folder if not given.",
)
def serve(host: str, port: int, data: Path | None) -> None:
    """Serve your own data until you press Ctrl-C."""
    from pitapp import create_app
    from pitapp.copies import daily

    app = create_app(data)
    daily.start(app)
    run(app, host, port)


@cli.command()
@_serving(DEMO_PORT)
def demo(host: str, port: int) -> None:
    """Serve invented data that is thrown away afterwards."""
    from pitapp import create_app
    from pitapp.demo import fill

    with tempfile.TemporaryDirectory(prefix="pitapp-demo-", ignore_cleanup_errors=True) as folder:
        app = create_app(folder, invented=True)
        fill(app)
        run(app, host, port)
        app.extensions["pitapp.db"].close()


def run(app: Flask, host: str, port: int) -> None:
    """Serve `app` until interrupted, and say where."""
    from pitapp.web.server import make_server

    app.config["PITAPP_HOSTS"].add(f"[{host}]" if ":" in host else host)
    server = make_server(app, host, port)
    try:
        server.prepare()
    except OSError as error:
        raise click.ClickException(
            f"Cannot listen on {host} port {port}: {error}. "
            "Is pitapp running already? Choose another with --port."
        ) from error
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    shown = f"[{host}]" if ":" in host else host
    click.echo(f"pitapp {__version__} is at http://{shown}:{server.bind_addr[1]}/")
    click.echo(f"Data: {app.config['PITAPP_DATA_DIR']}  (Ctrl-C stops)")
    sys.stdout.flush()
    try:
        server.serve()
    except KeyboardInterrupt:
        click.echo("Stopped.")
    finally:
        server.stop()


def main() -> None:
    """Run the command; what a racer can mend is a sentence, not a traceback."""
    from pitapp.errors import PitappError

    try:
        cli()
    except PitappError as error:
        click.echo(f"pitapp: {error}", err=True)
        sys.exit(error.exit_code)

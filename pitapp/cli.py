"""The `pitapp` command."""

from __future__ import annotations

import signal
import sys
import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pitapp import __version__
from pitapp.terminal import open_streams, tell

if TYPE_CHECKING:
    from flask import Flask

Command = TypeVar("Command", bound=Callable[..., Any])
DEFAULT_PORT = 8510
DEMO_PORT = 8511
HERE = ("127.0.0.1", "localhost", "::1")


class Lazy(click.Group):
    """The group of commands; some are imported when one is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names of all commands."""
        return sorted({*super().list_commands(ctx), "backup", "restore", "inspect", "pocket"})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name."""
        if cmd_name in ("backup", "restore", "inspect"):
            from pitapp.copies import commands

            command: click.Command = getattr(commands, cmd_name)
            return command
        if cmd_name == "pocket":
            from pitapp.pocket.commands import pocket

            return pocket
        return super().get_command(ctx, cmd_name)


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="pitapp")
def cli() -> None:
    """The race day of an electric model touring car, on a phone with no signal."""


def _serving(port: int) -> Callable[[Command], Command]:
    def options(command: Command) -> Command:
        host = click.option(
            "--host",
            help="Address to listen on; this machine only if not given, every network with --share.",
        )
        where = click.option(
            "--port",
            default=port,
            show_default=True,
            type=click.IntRange(0, 65535),
            help="Port to listen on; 0 takes a free one.",
        )
        share = click.option(
            "--share",
            is_flag=True,
            help="Let other devices on the network in; each is paired once, by a code.",
        )
        https = click.option(
            "--https",
            is_flag=True,
            help="Serve over TLS with a certificate of this machine's own authority.",
        )
        return host(where(share(https(command))))

    return options


@cli.command()
@_serving(DEFAULT_PORT)
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of your data; the platform's own data folder if not given.",
)
@click.option(
    "--pocket",
    type=click.Path(file_okay=False, path_type=Path),
    help="Offer phones this folder, made by `pitapp pocket`, to run pitapp by themselves.",
)
def serve(
    host: str | None,
    port: int,
    share: bool,
    https: bool,
    data: Path | None,
    pocket: Path | None,
) -> None:
    """Serve your own data until you press Ctrl-C."""
    from pitapp import create_app
    from pitapp.copies import daily
    from pitapp.web.factory import default_data_dir, open_data_dir
    from pitapp.web.instance_lock import serving

    folder = data or default_data_dir()
    open_data_dir(folder)
    with serving(folder) as say:
        note = _said_of_a_new_folder(folder)
        app = create_app(folder)
        daily.start(app)
        run(app, host, port, share=share, https=https, say=say, note=note, pocket=pocket)


def _said_of_a_new_folder(folder: Path) -> str:
    from pitapp.copies.store import FOLDER, list_copies
    from pitapp.errors import DataError
    from pitapp.web.factory import DATABASE_NAME

    if (folder / DATABASE_NAME).exists():
        return ""
    copies = list_copies(folder)
    if copies:
        raise DataError(
            f"The database in {folder} is gone, but there are copies of it. Put it back, or bring "
            f"the newest copy back: pitapp restore {folder / FOLDER / copies[0].name}"
        )
    return "\nThere is no data there yet. If you expected some, stop and look at that folder."


@cli.command()
@_serving(DEMO_PORT)
def demo(host: str | None, port: int, share: bool, https: bool) -> None:
    """Serve invented data that is thrown away afterwards."""
    from pitapp import create_app
    from pitapp.demo import fill

    with tempfile.TemporaryDirectory(prefix="pitapp-demo-", ignore_cleanup_errors=True) as folder:
        app = create_app(folder, invented=True)
        fill(app)
        run(app, host, port, share=share, https=https)
        app.extensions["pitapp.db"].close()


def run(
    app: Flask,
    host: str | None,
    port: int,
    *,
    share: bool = False,
    https: bool = False,
    say: Callable[[str], object] = lambda _: None,
    note: str = "",
    pocket: Path | None = None,
) -> None:
    """Serve `app` until interrupted, and say where: on the terminal, and to `say`."""
    from pitapp.devices.addresses import EVERYWHERE, in_address
    from pitapp.web.server import make_server

    host = host or ("0.0.0.0" if share else "127.0.0.1")  # noqa: S104
    papers = None
    if share or https or host not in HERE:
        from pitapp.devices.sharing import open_to

        papers = open_to(app, host, shared=share or host not in HERE, https=https)
    server = make_server(app, host, port, papers)
    try:
        server.prepare()
    except OSError as error:
        raise click.ClickException(
            f"Cannot listen on {host} port {port}: {error}. "
            "Is pitapp running already? Choose another with --port."
        ) from error
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    bound = server.bind_addr[1]
    own = "localhost" if host in EVERYWHERE else in_address(host)
    scheme = "https" if https else "http"
    address = f"{scheme}://{own}:{bound}/"
    say(address)
    tell(f"pitapp {__version__} is at {address}")
    if "pitapp.sharing" in app.extensions:
        from pitapp.devices.sharing import invitation

        tell(invitation(app, bound))
    with ExitStack() as beside:
        if pocket is not None:
            from pitapp.pocket.serving import offered

            another = beside.enter_context(offered(app, pocket, host, port, papers))
            tell(f"To run on a phone alone: {scheme}://{own}:{another}/")
        tell(f"Data: {app.config['PITAPP_DATA_DIR']}  (Ctrl-C stops){note}")
        try:
            server.serve()
        except KeyboardInterrupt:
            tell("Stopped.")
        finally:
            server.stop()


def main() -> None:
    """Run the command; what a racer can mend is a sentence, not a traceback."""
    from pitapp.errors import PitappError

    open_streams()
    try:
        cli()
    except PitappError as error:
        tell(f"pitapp: {error}", err=True)
        sys.exit(error.exit_code)

"""How this server is shared: where other devices find it, and what is said about it."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlsplit

import click
from flask import Flask, current_app
from markupsafe import Markup

from pitapp.addresses import is_this_machine
from pitapp.db import get_db
from pitapp.devices import authority, store
from pitapp.devices.addresses import (
    in_address,
    own_addresses,
    own_names,
    qr_svg,
    qr_text,
)
from pitapp.devices.authority import TlsFiles
from pitapp.devices.formulas import MOST_WRONG
from pitapp.devices.models import Code
from pitapp.web.clock import present
from pitapp.web.place import in_browser

NO_NETWORK = "localhost"
"""The host of a server that is shared while this machine is on no network."""
OPEN_LINE = "\nWithout --https others on that network can read what is sent: use one of your own."


class Sharing(NamedTuple):
    """A server that other devices may use."""

    scheme: str
    hosts: tuple[str, ...]
    port: int = 0
    authority: Path | None = None

    @property
    def urls(self) -> list[str]:
        """The addresses to open on another device, the likeliest first."""
        return [f"{self.scheme}://{in_address(host)}:{self.port}/" for host in self.hosts]

    @property
    def picture(self) -> Markup:
        """The likeliest address as a square to point a camera at."""
        return qr_svg(self.urls[0])

    def pairing_url(self, code: str) -> str:
        """The address that pairs a device with this code."""
        return f"{self.urls[0]}pair?code={code}"


def for_others(address: str) -> tuple[str, bool]:
    """That address of a page as other devices open it, and whether they can.

    One of this machine alone (127.0.0.1, localhost) gets the address by which the server is shared,
    where it is.

    >>> for_others("https://club.example/pit/#/")
    ('https://club.example/pit/#/', True)
    """
    parts = urlsplit(address)
    host = parts.hostname or ""
    if not (is_this_machine(host) or host == "localhost" or host.endswith(".localhost")):
        return address, True
    shared: Sharing | None = current_app.extensions.get("pitapp.sharing")
    if shared is None or in_browser() or shared.hosts == (NO_NETWORK,):
        return address, False
    return f"{shared.urls[0].rstrip('/')}{parts.path}", True


def open_to(app: Flask, host: str, *, shared: bool, https: bool) -> TlsFiles | None:
    """Let the app answer under the addresses of that host; its certificate where it serves TLS."""
    own = own_addresses(host)
    names = own_names() if shared else []
    app.config["PITAPP_HOSTS"].update(in_address(each) for each in own + names)
    papers = None
    if https:
        app.config["SESSION_COOKIE_SECURE"] = True
        app.config["SESSION_COOKIE_NAME"] = f"__Host-{app.config['SESSION_COOKIE_NAME']}"
        papers = authority.tls_files(app.config["PITAPP_DATA_DIR"] / "tls", own + names)
    if shared:
        app.extensions["pitapp.sharing"] = Sharing(
            "https" if https else "http",
            tuple(own) or (NO_NETWORK,),
            authority=papers.authority if papers else None,
        )
    return papers


def invitation(app: Flask, port: int) -> str:
    """What the terminal says: where to go, a fresh code, and both as a square to point a phone at."""
    shared: Sharing = app.extensions["pitapp.sharing"]._replace(port=port)
    app.extensions["pitapp.sharing"] = shared
    with app.app_context():
        code = store.new_code(get_db(), present())
    return (
        f"{qr_text(shared.pairing_url(code.code))}\n"
        f"On the other device open {' or '.join(shared.urls)}\n"
        f"and enter the code {code.spaced} within five minutes. "
        "A new code is made under More, Devices, on this machine."
        + OPEN_LINE
        * (shared.scheme == "http")
    )


def say_next(code: Code) -> None:
    """Say on the terminal which code took the place of one that was guessed at too often."""
    with suppress(OSError, ValueError):
        click.echo(
            f"{MOST_WRONG} wrong codes were tried, so that one is over. "
            f"The code is now {code.spaced}, good for five minutes."
        )

"""The addresses under which other devices reach this machine, and the same as a square code."""

from __future__ import annotations

import io
import socket
import struct
from contextlib import suppress
from ipaddress import ip_address

from markupsafe import Markup

# No packet is sent to these: connecting a datagram socket only asks which way it would go.
WAYS_OUT = ("10.255.255.255", "192.168.255.255", "172.31.255.255", "198.51.100.1")
ASK_ADDRESS = 0x8915


def own_addresses() -> list[str]:
    """This machine's IPv4 addresses on its networks, the way out first."""
    found = [*_ways_out(), *_by_interface(), *_by_name()]
    return list(dict.fromkeys(address for address in found if _is_ours(address)))


def own_names() -> list[str]:
    """The names of this machine on its network, in lower case."""
    name = socket.gethostname().lower()
    return [name] if "." in name or not name else [name, f"{name}.local"]


def _is_ours(address: str) -> bool:
    found = ip_address(address)
    return not (found.is_loopback or found.is_unspecified or found.is_multicast)


def _ways_out() -> list[str]:
    found = []
    for way in WAYS_OUT:
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((way, 9))
            found.append(str(probe.getsockname()[0]))
    return found


def _by_interface() -> list[str]:
    try:
        import fcntl

        names = [name for _, name in socket.if_nameindex()]
    except (ImportError, OSError):
        return []
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for name in names:
            asked = struct.pack("256s", name.encode()[:15])
            with suppress(OSError):
                answer = fcntl.ioctl(probe.fileno(), ASK_ADDRESS, asked)
                found.append(socket.inet_ntoa(answer[20:24]))
    return found


def _by_name() -> list[str]:
    with suppress(OSError):
        return [
            str(each[4][0])
            for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        ]
    return []


def square(text: str) -> Markup:
    """A QR code (ISO/IEC 18004) of the text as SVG, dark on white."""
    import segno

    out = io.BytesIO()
    segno.make(text, micro=False).save(
        out,
        kind="svg",
        scale=6,
        border=4,
        light="#ffffff",
        dark="#000000",
        xmldecl=False,
        svgns=True,
        title=None,
        svgclass="square",
        lineclass=None,
        omitsize=True,
    )
    return Markup(out.getvalue().decode())  # noqa: S704


def square_for_terminal(text: str) -> str:
    """The same in half-block letters."""
    import segno

    out = io.StringIO()
    segno.make(text, micro=False).terminal(out, border=2, compact=True)
    return out.getvalue()

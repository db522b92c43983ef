"""The addresses under which other devices reach this machine, and the same as a square code."""

from __future__ import annotations

import io
import socket
import struct
from contextlib import suppress
from ipaddress import ip_address

from markupsafe import Markup

# No packet is sent to these: connecting a datagram socket only asks which way it would go.
WAYS_OUT = {
    socket.AF_INET: ("10.255.255.255", "192.168.255.255", "172.31.255.255", "198.51.100.1"),
    socket.AF_INET6: ("2001:db8::1", "fd00::1"),
}
ANY_IPV4, ANY_ADDRESS = "0.0.0.0", "::"  # noqa: S104
EVERYWHERE = (ANY_IPV4, ANY_ADDRESS)
ASK_ADDRESS = 0x8915


def own_addresses(host: str = ANY_IPV4) -> list[str]:
    """The addresses under which a server that listens on `host` is reached on this machine's networks.

    For any IPv4 address those of IPv4, the way out first; for any address at all those of IPv6 after
    them, without such as need the name of an interface (link-local); for another host that itself.
    """
    if host not in EVERYWHERE:
        return [host]
    addresses = [*_ways_out(), *_by_interface(), *_by_name()]
    if host == ANY_ADDRESS:
        addresses += [*_ways_out(socket.AF_INET6), *_by_name(socket.AF_INET6)]
    return list(dict.fromkeys(address for address in addresses if _is_ours(address)))


def in_address(host: str) -> str:
    """A host as it stands in an address of the web: IPv6 in brackets, in its one short form.

    >>> in_address("0:0:0:0:0:0:0:1"), in_address("192.168.1.7"), in_address("Pit.local")
    ('[::1]', '192.168.1.7', 'pit.local')
    """
    try:
        ip = ip_address(host)
    except ValueError:
        return host.lower()
    return f"[{ip.compressed}]" if ip.version == 6 else str(ip)


def own_names() -> list[str]:
    """The names of this machine on its network, in lower case."""
    name = socket.gethostname().lower()
    return [name] if "." in name or not name else [name, f"{name}.local"]


def _is_ours(address: str) -> bool:
    ip = ip_address(address)
    return not (
        ip.is_loopback
        or ip.is_unspecified
        or ip.is_multicast
        or (ip.version == 6 and ip.is_link_local)
    )


def _ways_out(family: socket.AddressFamily = socket.AF_INET) -> list[str]:
    addresses = []
    for way in WAYS_OUT[family]:
        with suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((way, 9))
            addresses.append(str(probe.getsockname()[0]))
    return addresses


def _by_interface() -> list[str]:
    try:
        import fcntl

        names = [name for _, name in socket.if_nameindex()]
    except (ImportError, OSError):
        return []
    addresses = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for name in names:
            request = struct.pack("256s", name.encode()[:15])
            with suppress(OSError):
                answer = fcntl.ioctl(probe.fileno(), ASK_ADDRESS, request)
                addresses.append(socket.inet_ntoa(answer[20:24]))
    return addresses


def _by_name(family: socket.AddressFamily = socket.AF_INET) -> list[str]:
    with suppress(OSError):
        infos = socket.getaddrinfo(socket.gethostname(), None, family)
        return [str(each[4][0]).partition("%")[0] for each in infos]
    return []


def qr_svg(text: str) -> Markup:
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


def qr_text(text: str) -> str:
    """The same in half-block letters."""
    import segno

    out = io.StringIO()
    segno.make(text, micro=False).terminal(out, border=2, compact=True)
    return out.getvalue()

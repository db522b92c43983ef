"""Network addresses as text: this machine's own, and which ones count as one neighbour."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

NEIGHBOUR_BITS = 64
"""An IPv6 device may take any address of its network's /64 (RFC 4291, RFC 8981)."""


def parsed(address: str) -> IPv4Address | IPv6Address | None:
    """The address, an IPv4 one written as IPv6 as IPv4; None for no address.

    >>> parsed("::ffff:192.168.1.7"), parsed("nowhere")
    (IPv4Address('192.168.1.7'), None)
    """
    try:
        parsed_address = ip_address(address)
    except ValueError:
        return None
    return (
        isinstance(parsed_address, IPv6Address) and parsed_address.ipv4_mapped
    ) or parsed_address


def is_this_machine(address: str | None) -> bool:
    """Whether a request from that address comes from the machine that the server runs on.

    >>> is_this_machine("127.0.0.1"), is_this_machine("::ffff:127.0.0.1"), is_this_machine("192.168.1.7")
    (True, True, False)
    """
    if address == "127.0.0.1":
        return True
    ip = parsed(address or "")
    return ip is not None and ip.is_loopback


def neighbour(address: str) -> str:
    """What is counted as one device when nothing better is known: an IPv4 address, an IPv6 /64.

    >>> neighbour("::ffff:10.0.0.9"), neighbour("fd00::1:2:3:4"), neighbour("nowhere")
    ('10.0.0.9', 'fd00::/64', 'nowhere')
    """
    ip = parsed(address)
    if isinstance(ip, IPv6Address):
        return str(ip_network((int(ip), NEIGHBOUR_BITS), strict=False))
    return str(ip) if ip else address

"""The socket that listens, and how many files the system lets this process hold open."""

from __future__ import annotations

import socket
import sys

BACKLOG = 128
MOST_FILES = 1 << 20


def listening(place: tuple[str, int]) -> socket.socket:
    """A socket that listens there; at "::" for IPv4 too.

    Raises:
        OSError: at none of the addresses of that host.
    """
    host, port = place
    failure = OSError(f"{host} is no address of this machine")
    for family, kind, number, _, address in socket.getaddrinfo(
        host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
    ):
        listener = socket.socket(family, kind, number)
        try:
            if sys.platform != "win32":
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if family == socket.AF_INET6 and host == "::":
                listener.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
            listener.bind(address)
            listener.listen(BACKLOG)
            listener.setblocking(False)
            return listener
        except OSError as error:
            listener.close()
            failure = error
    raise failure


def open_files() -> int:
    """How many files this process may hold open."""
    try:
        import resource
    except ImportError:
        return MOST_FILES
    limit = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    return MOST_FILES if limit == resource.RLIM_INFINITY else limit

"""How long, how much and how many: every figure of the server. Where no source is named, our own."""

from __future__ import annotations

from typing import NamedTuple


class Bounds(NamedTuple):
    """Times in seconds, sizes in bytes. A stranger is an address that has shown no valid device
    cookie in the last ten minutes; this machine itself is none.
    """

    threads: int = 8
    stranger_threads: int = 4
    """Strangers' requests never take all threads."""

    connections: int = 400
    stranger_connections: int = 12
    """For each stranger; a browser opens six (common practice, no source) and a few ahead of time."""
    spare_files: int = 64
    """Open files left to the rest of the program, where the system allows fewer than 400."""

    handshake_s: float = 2.0
    first_s: float = 10.0
    """Until the first byte of a connection's first request."""
    header_s: float = 5.0
    """From the first byte of a request to the end of its headers."""
    kept_s: float = 75.0
    """Between two requests of one that is known: its page asks every 15 s, and need not greet anew."""
    stranger_kept_s: float = 10.0
    linger_s: float = 2.0
    """For the other side to read a last answer and close; what it still sends is thrown away."""

    grace_s: float = 20.0
    least_rate: float = 1024.0
    """A body or an answer may take 20 s, and one second more for each KiB: a phone at the edge of a
    network sends a copy of 5 MB in under an hour and a half, and one that stands still is given up."""

    header_bytes: int = 64 * 1024
    header_fields: int = 100
    body_bytes: int = 65 * 1024 * 1024
    """What any address of the app takes, and room for the form around it."""
    stranger_body_bytes: int = 64 * 1024
    chunks: int = 10_000
    chunk_size: int = 2**32
    """A chunk that says it is larger than that is no chunk, but a number too large to be counted."""
    memory_bytes: int = 128 * 1024
    """A larger body waits in a temporary file."""

    stop_s: float = 5.0
    """For requests under way, when the server is stopped."""
    vouched_s: float = 600.0

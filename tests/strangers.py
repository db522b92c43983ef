"""Connections that take and give nothing: silent ones, and ones that send a byte now and then.

They go to this machine's own addresses only, and come again as soon as they are shut.
"""

from __future__ import annotations

import socket
import ssl
import threading
import time
from contextlib import suppress
from types import TracebackType

DRIP_S = 0.2
HEADER = b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: " + b"a" * 4000


def unchecked() -> ssl.SSLContext:
    """A client's TLS that takes any certificate."""
    context = ssl.create_default_context()
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    return context


def client_hello() -> bytes:
    """The first message of a real TLS handshake."""
    coming, going = ssl.MemoryBIO(), ssl.MemoryBIO()
    with suppress(ssl.SSLWantReadError):
        unchecked().wrap_bio(coming, going).do_handshake()
    return going.read()


class Stranger:
    """One such connection; `says` is what it drips, nothing if it is silent."""

    def __init__(self, place: tuple[str, int], says: bytes, tls: ssl.SSLContext | None) -> None:
        self._place, self._says, self._tls = place, says, tls
        self._line: socket.socket | None = None
        self._at = 0
        self.opened = 0

    def keep_up(self) -> None:
        """Open it if it is shut, and send the next byte of what it says."""
        if self._line is None or self._is_shut(self._line):
            self.close()
            self._open()
        elif self._says:
            with suppress(OSError):
                self._line.send(self._says[self._at % len(self._says)].to_bytes(1, "big"))
                self._at += 1

    def close(self) -> None:
        if self._line is not None:
            self._line.close()
        self._line, self._at = None, 0

    def _open(self) -> None:
        with suppress(OSError):
            line = socket.create_connection(self._place, timeout=1)
            try:
                self._line = self._tls.wrap_socket(line) if self._tls else line
            except OSError:
                line.close()
                raise
            self._line.setblocking(False)
            self.opened += 1

    @staticmethod
    def _is_shut(line: socket.socket) -> bool:
        try:
            return line.recv(1000) == b""
        except (BlockingIOError, ssl.SSLWantReadError):
            return False
        except OSError:
            return True


class Strangers:
    """So many silent and so many dripping connections, for as long as the `with` lasts.

    Over https half of the dripping ones drip their handshake, the others their request.
    """

    def __init__(
        self, host: str, port: int, silent: int, dripping: int, *, https: bool = False
    ) -> None:
        place, hello = (host, port), client_hello()
        self.each = [Stranger(place, b"", None) for _ in range(silent)]
        for number in range(dripping):
            greeting = https and number % 2 == 0
            says = hello if greeting else HEADER
            tls = unchecked() if https and not greeting else None
            self.each.append(Stranger(place, says, tls))
        self._over = threading.Event()
        self._threads = [
            threading.Thread(target=self._keep_up, args=(share,), daemon=True)
            for share in (self.each[:silent], *([each] for each in self.each[silent:]))
        ]

    def __enter__(self) -> Strangers:
        for thread in self._threads:
            thread.start()
        gives_up = time.monotonic() + 30
        while not all(each.opened for each in self.each) and time.monotonic() < gives_up:
            time.sleep(0.05)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join(30)
        for each in self.each:
            each.close()

    def _keep_up(self, share: list[Stranger]) -> None:
        while not self._over.wait(DRIP_S):
            for each in share:
                each.keep_up()

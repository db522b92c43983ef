"""The bytes of a connection, with TLS or without; nothing in it waits."""

from __future__ import annotations

import socket
import struct
from contextlib import suppress
from selectors import EVENT_READ, EVENT_WRITE
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import ssl

AT_ONCE = 64 * 1024
ABORT = struct.pack("ii", 1, 0)
NOT_TLS = (
    b"HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain\r\nConnection: close\r\n\r\n"
    b"This server speaks https only. Open the same address with https:// in front."
)


class Line:
    """A socket that was just accepted. After each call `wanted` says what to wait for, as a mask of
    `selectors`.

    Raises:
        OSError: from each method, when the line is broken.
    """

    def __init__(self, plain: socket.socket, tls: ssl.SSLContext | None) -> None:
        plain.setblocking(False)
        plain.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket = plain
        self.wanted, self.ended = EVENT_READ, False
        self._try_again: tuple[type[OSError], ...] = (BlockingIOError, InterruptedError)
        self._write_first: tuple[type[OSError], ...] = ()
        if tls is not None:
            import ssl

            self._try_again += (ssl.SSLWantReadError,)
            self._write_first = (ssl.SSLWantWriteError,)
            self._socket = tls.wrap_socket(plain, server_side=True, do_handshake_on_connect=False)
        self.file_number = self._socket.fileno()

    def greet(self) -> bool:
        """Go on with the TLS handshake; whether it is done."""
        try:
            self._socket.do_handshake()  # type: ignore[attr-defined]
        except self._try_again:
            self.wanted = EVENT_READ
        except self._write_first:
            self.wanted = EVENT_WRITE
        except OSError as error:
            if getattr(error, "reason", "") != "HTTP_REQUEST":
                raise
            self._socket = socket.socket(fileno=self._socket.detach())
            self._write_first = ()
            self._socket.send(NOT_TLS)
            self.end()
        else:
            self.wanted = EVENT_READ
            return True
        return False

    def receive(self) -> bytes | None:
        """What came in; None if nothing has, nothing at all if the other side has ended."""
        try:
            self.wanted = EVENT_READ
            return self._socket.recv(AT_ONCE)
        except self._try_again:
            return None
        except self._write_first:
            self.wanted = EVENT_WRITE
            return None

    def send(self, data: memoryview) -> int:
        """Send some of the data; how much was taken."""
        try:
            self.wanted = EVENT_WRITE
            return self._socket.send(data[:AT_ONCE])
        except self._write_first:
            return 0
        except self._try_again as error:
            if not isinstance(error, BlockingIOError | InterruptedError):
                self.wanted = EVENT_READ
            return 0

    def end(self) -> None:
        """Say that nothing more will be sent; what still comes in is no longer deciphered."""
        if self._write_first:
            with suppress(OSError, ValueError):
                self._socket.unwrap()  # type: ignore[attr-defined]
        self._socket.shutdown(socket.SHUT_WR)
        self.wanted, self.ended = EVENT_READ, True

    def close(self, *, at_once: bool) -> None:
        """Close; `at_once` throws away what the other side has not taken."""
        with suppress(OSError):
            if at_once:
                self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, ABORT)
            self._socket.close()

"""Requests out of the bytes of a connection, each whole and within bounds."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from tempfile import SpooledTemporaryFile
from typing import IO, cast

import h11

from pitapp.web.server.bounds import Bounds
from pitapp.web.server.gateway import Request

FULL_DISK = 507


class Unfit(Exception):
    """The request cannot be taken, with the status to answer."""

    def __init__(self, status: int) -> None:
        super().__init__(status)
        self.status = status


class RequestReader:
    """The requests of one connection, one at a time.

    Where a stranger shows a cookie, `asks_who` is set: the app is to be asked who it is, before a body
    is taken, and then `read` is to be called again.
    """

    def __init__(self, http: h11.Connection, bounds: Bounds, strange: Callable[[], bool]) -> None:
        self._http, self._bounds, self._strange = http, bounds, strange
        self.head: Request | None = None
        self.body_bytes = 0
        self.asks_who = False
        self._may = self._chunks = 0

    @property
    def begun(self) -> bool:
        """Whether a part of the next request is there."""
        return self.head is not None or bool(self._http.trailing_data[0])

    @property
    def awaited(self) -> bool:
        """Whether the other side waits to be told to go on with its body."""
        return self.head is not None and self._http.they_are_waiting_for_100_continue

    def read(self) -> Request | None:
        """The next request; None if more must come in, or the app is to be asked.

        Raises:
            Unfit: it is too large, or not understood.
            EOFError: the other side has ended between two requests.
        """
        try:
            return self._read()
        except h11.RemoteProtocolError as error:
            raise Unfit(error.error_status_hint) from None

    def drop(self) -> None:
        """Let go of the request that was read last."""
        if self.head is not None:
            self.head.body.close()
        self.head, self.body_bytes, self._chunks = None, 0, 0

    def _read(self) -> Request | None:
        if self.asks_who and (request := self._begin_body(may_wait=True)) is not None:
            return request
        while True:
            event = self._http.next_event()
            if event is h11.NEED_DATA:
                self._check_room(self._announced())
                return None
            if isinstance(event, h11.Request):
                self._take_head(event)
                if (request := self._begin_body(may_wait=False)) is not None or self.asks_who:
                    return request
            elif isinstance(event, h11.Data):
                self._take(event)
            elif isinstance(event, h11.EndOfMessage):
                return self._whole()
            else:
                raise EOFError

    def _take_head(self, event: h11.Request) -> None:
        size = len(event.target) + sum(len(name) + len(value) for name, value in event.headers)
        if size > self._bounds.header_bytes or len(event.headers) > self._bounds.header_fields:
            raise Unfit(431)
        if not event.target.startswith(b"/"):
            raise Unfit(400)
        self.head = Request(
            event.method.decode("latin-1"),
            event.target.decode("latin-1"),
            event.http_version.decode("latin-1"),
            [(name.decode("latin-1"), value.decode("latin-1")) for name, value in event.headers],
            BytesIO(),
            0,
        )

    def _begin_body(self, *, may_wait: bool) -> Request | None:
        """Make ready for a body; the request itself, its body unread, where that may not be sent."""
        head = cast(Request, self.head)
        headers = dict(head.headers)
        strange = self._strange()
        self.asks_who = strange and "cookie" in headers and not may_wait
        size = int(headers.get("content-length", 0))
        if self.asks_who or not (size or "transfer-encoding" in headers):
            return None
        self._may = self._bounds.stranger_body_bytes if strange else self._bounds.body_bytes
        if size > self._may:
            self.head = head._replace(body_bytes=size, unread=True)
            return self.head
        body = SpooledTemporaryFile(self._bounds.memory_bytes)  # noqa: SIM115
        self.head = head._replace(body=cast(IO[bytes], body))
        return None

    def _take(self, event: h11.Data) -> None:
        self.body_bytes += len(event.data)
        self._chunks += event.chunk_start
        self._check_room(self._announced())
        try:
            cast(Request, self.head).body.write(event.data)
        except OSError:
            raise Unfit(FULL_DISK) from None

    def _check_room(self, more: int) -> None:
        if self.body_bytes + more > self._may or self._chunks > self._bounds.chunks:
            raise Unfit(413)

    def _announced(self) -> int:
        """Bytes left of the current chunk, from h11's own reader."""
        reader = getattr(self._http, "_reader", None)
        size: int = getattr(reader, "_bytes_in_chunk", 0)
        if size > self._bounds.chunk_size:
            raise Unfit(400)
        return size

    def _whole(self) -> Request:
        head = cast(Request, self.head)
        head.body.seek(0)
        self.head = head._replace(body_bytes=self.body_bytes)
        return self.head

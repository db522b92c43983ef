"""One connection: what it is about, until when that may take, and what goes out.

Its owner is one thread at a time: the one that holds all connections, or, while it is `away`, one
that runs the app.
"""

from __future__ import annotations

import socket
from collections import deque
from enum import Enum
from selectors import EVENT_READ
from typing import TYPE_CHECKING

import h11

from pitapp.addresses import neighbour
from pitapp.web.server.bounds import Bounds
from pitapp.web.server.gateway import Answer, FileToSend, Headers, Place, Request, in_short
from pitapp.web.server.line import Line
from pitapp.web.server.request_reader import RequestReader, Unfit
from pitapp.web.server.visitors import Visitors

if TYPE_CHECKING:
    import ssl

CONTINUE = h11.InformationalResponse(status_code=100, headers=[], reason=b"Continue")
CLOSE = (b"Connection", b"close")
PATIENCE_S = 1.0
A_TURN = 1024 * 1024
"""What one connection may send before the others have their turn."""


class Phase(Enum):
    """What a connection is about."""

    GREETING = "the TLS handshake"
    WAITING = "waiting for a request"
    HEADERS = "taking the headers"
    BODY = "taking the body"
    WORKING = "with the app"
    WRITING = "answering"
    LINGERING = "answered for the last time"
    CLOSED = "closed"


class Connection:
    """A connection that was just accepted.

    After each call `phase` says what it is about, `events` what to wait for before calling `ready`,
    and `deadline`, of the monotonic clock, when to call `late`. In `WORKING` there is a `request`;
    with `asks_who` only the question who it is.
    """

    def __init__(
        self,
        plain: socket.socket,
        place: Place,
        bounds: Bounds,
        visitors: Visitors,
        tls: ssl.SSLContext | None,
        now: float,
    ) -> None:
        self.place, self.since, self.answered = place, now, 0
        self.near = neighbour(place.address)
        self.away = False
        """Whether a thread of the app has it, and nobody else may touch it."""
        self._bounds, self._visitors = bounds, visitors
        self._line = Line(plain, tls)
        self.file_number = self._line.file_number
        self._http = h11.Connection(h11.SERVER, bounds.header_bytes)
        self._reader = RequestReader(self._http, bounds, lambda: self.stranger)
        self._out: deque[memoryview] = deque()
        self._file: FileToSend | None = None
        self._begun, self._sent, self._last = now, 0, False
        self.phase = Phase.GREETING if tls else Phase.WAITING
        self.deadline = now + (bounds.handshake_s if tls else bounds.first_s)

    @property
    def stranger(self) -> bool:
        """Whether it comes from an address that has shown no valid device cookie of late."""
        return not self._visitors.known(self.place.address)

    @property
    def events(self) -> int:
        """What to wait for, as a mask of `selectors`."""
        return 0 if self.phase in (Phase.WORKING, Phase.CLOSED) else self._line.wanted

    @property
    def request(self) -> Request | None:
        """The request that the app is to answer."""
        return self._reader.head

    @property
    def asks_who(self) -> bool:
        """Whether it is only to be found out who it is, before a large body is taken."""
        return self._reader.asks_who

    def worth(self, now: float) -> tuple[bool, int, float]:
        """How much it would be missed: strangers first, then those that have asked nothing yet.

        A stranger that has just come is given time to ask before one that was answered is kept.
        """
        stranger = self.stranger
        if self.phase in (Phase.BODY, Phase.WRITING):
            rank = 3
        elif self.answered == 0:
            rank = 2 if stranger and now - self.since < PATIENCE_S else 0
        else:
            rank = 1
        return (not stranger, rank, self.since)

    def ready(self, now: float) -> None:
        """The socket is readable or writable as awaited: continue."""
        try:
            if self.phase is Phase.GREETING:
                if self._line.greet():
                    self._wait(now, self._bounds.first_s)
                elif self._line.ended:
                    self._linger(now)
            elif self.phase is Phase.WRITING:
                self._write(now)
            elif (data := self._line.receive()) is None:
                return
            elif self.phase is Phase.LINGERING:
                if not data:
                    self.close()
            else:
                self._http.receive_data(data)
                self.go_on(now)
        except OSError:
            self.close(at_once=True)

    def go_on(self, now: float) -> None:
        """Parse buffered bytes; to be called again once the visitor is identified."""
        try:
            request = self._reader.read()
        except Unfit as unfit:
            self._refuse(unfit.status, now)
        except EOFError:
            self.close()
        else:
            if request is not None or self._reader.asks_who:
                self.phase, self.deadline = Phase.WORKING, float("inf")
            elif self._reader.head is not None:
                self._go_on_with_body(now)
            elif self.phase is not Phase.HEADERS and self._reader.begun:
                self.phase, self.deadline = Phase.HEADERS, now + self._bounds.header_s

    def time_out(self, now: float) -> None:
        """Give up what has taken too long."""
        if self.phase in (Phase.HEADERS, Phase.BODY):
            self._refuse(408, now)
        else:
            self.close(at_once=self.phase is Phase.WRITING)

    def answer(self, answer: Answer, now: float) -> None:
        """Send the answer; what is not taken at once goes with `ready`."""
        request = self._reader.head
        self._last = self._last or (request is not None and request.unread)
        headers: Headers = [*answer.headers, CLOSE] if self._last else answer.headers
        bare = answer.status in (204, 304) or (request is not None and request.method == "HEAD")
        self.phase, self._begun, self._sent = Phase.WRITING, now, 0
        self._file = answer.file
        try:
            self._put(
                h11.Response(status_code=answer.status, headers=headers, reason=answer.reason),
                *(h11.Data(data=piece) for piece in answer.pieces if not bare),
            )
            if self._file is None:
                self._put(h11.EndOfMessage())
            self._write(now)
        except OSError:
            self.close(at_once=True)

    def close(self, *, at_once: bool = False) -> None:
        """Close it; `at_once` without regard to what is still to be sent."""
        self.phase, self.deadline = Phase.CLOSED, float("inf")
        self._out.clear()
        self._reader.drop()
        if self._file is not None:
            self._file.close()
        self._line.close(at_once=at_once)

    def _wait(self, now: float, seconds: float) -> None:
        self.phase, self.since, self.deadline = Phase.WAITING, now, now + seconds

    def _linger(self, now: float) -> None:
        self.phase, self.deadline = Phase.LINGERING, now + self._bounds.linger_s

    def _go_on_with_body(self, now: float) -> None:
        if self.phase is not Phase.BODY:
            self.phase, self._begun = Phase.BODY, now
            if self._reader.awaited:
                self._line.send(memoryview(self._http.send(CONTINUE) or b""))
        self.deadline = self._in_time(self._reader.body_bytes)

    def _in_time(self, moved: int) -> float:
        return self._begun + self._bounds.grace_s + moved / self._bounds.least_rate

    def _refuse(self, status: int, now: float) -> None:
        self._last = True
        self._reader.drop()
        self.answer(in_short(status), now)

    def _put(self, *events: h11.Response | h11.Data | h11.EndOfMessage) -> None:
        pieces: list[bytes] = []
        for event in events:
            pieces += self._http.send_with_data_passthrough(event) or ()
        if sum(map(len, pieces)) <= A_TURN:
            pieces = [b"".join(pieces)]
        self._out.extend(memoryview(piece) for piece in pieces if piece)

    def _write(self, now: float) -> None:
        turn = self._sent + A_TURN
        while self._sent < turn:
            if self._out:
                sent = self._line.send(self._out[0])
                self._sent += sent
                self._out[0] = self._out[0][sent:]
                if not self._out[0]:
                    self._out.popleft()
                if not sent:
                    break
            elif self._file is None:
                self._finish(now)
                return
            elif block := self._file.read():
                self._put(h11.Data(data=block))
            else:
                self._file.close()
                self._file = None
                self._put(h11.EndOfMessage())
        self.deadline = self._in_time(self._sent)

    def _finish(self, now: float) -> None:
        self._reader.drop()
        self.answered += 1
        if self._last or self._http.our_state is not h11.DONE:
            self._line.end()
            self._linger(now)
            return
        self._http.start_next_cycle()
        bounds = self._bounds
        self._wait(now, bounds.stranger_kept_s if self.stranger else bounds.kept_s)
        self._line.wanted = EVENT_READ
        self.go_on(now)

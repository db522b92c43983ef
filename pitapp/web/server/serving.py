"""Holding every connection in one thread, and giving whole requests to the threads of the app.

The handshake of TLS is no exception: it goes on as its bytes come in, so that a phone that leaves
range in the midst of it holds up nobody.
"""

from __future__ import annotations

import errno
import selectors
import socket
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING, Any, cast

from pitapp.addresses import parsed
from pitapp.web.server.bounds import Bounds
from pitapp.web.server.connection import PATIENCE_S, Connection, Phase
from pitapp.web.server.gateway import Place, Request, environment, in_short, respond
from pitapp.web.server.listening import listening, open_files
from pitapp.web.server.visitors import Visitors
from pitapp.web.server.workers import Workers

if TYPE_CHECKING:
    import ssl

ACCEPTED_AT_ONCE = 32
LOOK_S, REST_S = 0.25, 1.0
PAUSE_S = 0.2
LEAST_CONNECTIONS, FEWER = 16, 16
USED_UP = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)
VOUCH = "pitapp.vouch"
Step = Callable[[float], None]


class Server:
    """A WSGI server: `prepare()` listens, `serve()` goes on until `stop()`.

    The app may have `extensions["pitapp.vouch"]`: called with an environment, it tells whether that
    request carries a valid device cookie.
    """

    def __init__(
        self, app: Any, bind_addr: tuple[str, int], tls: ssl.SSLContext | None, bounds: Bounds
    ) -> None:
        self.bind_addr, self.tls = bind_addr, tls
        self._app, self._bounds = app, bounds
        self._vouch = getattr(app, "extensions", {}).get(VOUCH)
        self._visitors = Visitors(bounds.vouched_s)
        self._workers = Workers(bounds.threads, bounds.stranger_threads)
        self._all: dict[Connection, None] = {}  # the longest held first
        self._handed_back: deque[tuple[Connection, Step | None]] = deque()
        self._listener: socket.socket | None = None
        self._most = bounds.connections
        self._look_at = 0.0
        self._accepts_again_at: float | None = None
        self._stopping = False
        self._ended = threading.Event()
        self._ended.set()

    def prepare(self) -> None:
        """Listen at `bind_addr`, whose port is then the real one, and start the threads of the app.

        Raises:
            OSError: it cannot listen there.
        """
        self._listener = listening(self.bind_addr)
        self.bind_addr = self._listener.getsockname()[:2]
        files = max(LEAST_CONNECTIONS, open_files() - self._bounds.spare_files)
        self._most = min(self._bounds.connections, files)
        self._selector = selectors.DefaultSelector()
        self._waker, self._woken = socket.socketpair()
        for line in (self._waker, self._woken):
            line.setblocking(False)
        self._selector.register(self._woken, selectors.EVENT_READ, lambda _: self._woken.recv(4096))
        self._selector.register(self._listener, selectors.EVENT_READ, self._accept)
        self._workers.start()

    def serve(self) -> None:
        """Serve until `stop()` is called from another thread, or an interrupt comes."""
        self._ended.clear()
        try:
            while not self._stopping:
                try:
                    self._turn(LOOK_S if self._all else REST_S)
                except Exception:
                    _log()
                    time.sleep(PAUSE_S)
        finally:
            self._ended.set()

    def start(self) -> None:
        """Prepare and serve."""
        self.prepare()
        self.serve()

    def stop(self) -> None:
        """End: nothing new is taken, requests under way are answered, for some seconds at most."""
        if self._listener is None:
            return
        self._stopping = True
        self._wake()
        self._ended.wait()
        self._rest()
        self._listener.close()
        self._listener = None
        give_up = time.monotonic() + self._bounds.stop_s
        while self._close_idle() and time.monotonic() < give_up:
            self._turn(LOOK_S / 10)
        self._workers.stop(max(0.1, give_up - time.monotonic()))
        for connection in list(self._all):
            if not connection.away:
                self._close(connection)
        self._selector.close()
        self._waker.close()
        self._woken.close()

    def _close_idle(self) -> bool:
        """Close what is not being answered; whether something is."""
        for connection in list(self._all):
            if not connection.away and connection.phase is not Phase.WRITING:
                self._close(connection)
        return bool(self._all)

    def _turn(self, seconds: float) -> None:
        ready = self._selector.select(seconds)
        now = time.monotonic()
        for key, _ in ready:
            if not isinstance(key.data, Connection):
                key.data(now)
            elif key.data.phase is not Phase.CLOSED:
                self._attend(key.data, key.data.ready, now)
        while self._handed_back:
            connection, step = self._handed_back.popleft()
            connection.away = False
            self._attend(connection, step, now)
        if now >= self._look_at:
            self._look_at = now + LOOK_S
            overdue = [each for each in self._all if each.deadline <= now and not each.away]
            for connection in overdue:
                self._attend(connection, connection.time_out, now)
            self._thin_out_strangers(now)
            if self._accepts_again_at is not None and now >= self._accepts_again_at:
                self._accepts_again_at = None
                self._watch(self._listener, selectors.EVENT_READ, self._accept)

    def _attend(self, connection: Connection, step: Step | None, now: float) -> None:
        """Take a step with a connection, and wait for what it needs next."""
        try:
            if step is not None:
                step(now)
        except Exception:
            _log()
            connection.close(at_once=True)
        self._watch(connection.file_number, connection.events, connection)
        if connection.phase is Phase.CLOSED:
            self._all.pop(connection, None)
        elif connection.phase is Phase.WORKING:
            connection.away = True
            if connection.asks_who:
                job = partial(self._work, self._ask_who, connection, connection.go_on)
                self._workers.submit(job)
            else:
                job = partial(self._work, self._answer, connection, None)
                self._workers.submit(job, stranger=connection.near if connection.stranger else "")

    def _watch(self, file: Any, events: int, data: Any) -> None:
        watched = self._selector.get_map().get(file)
        if watched is None or watched.data != data:
            if events:
                self._selector.register(file, events, data)
        elif not events:
            self._selector.unregister(file)
        elif events != watched.events:
            self._selector.modify(file, events, data)

    def _accept(self, now: float) -> None:
        if self._listener is None:
            return
        for _ in range(ACCEPTED_AT_ONCE):
            try:
                plain, address = self._listener.accept()
            except (BlockingIOError, InterruptedError):
                return
            except OSError as error:
                if error.errno in USED_UP:
                    self._take_fewer(now)
                    return
                continue
            try:
                self._take_in(plain, address[0], address[1], now)
            except (OSError, ValueError):
                plain.close()

    def _thin_out_strangers(self, now: float) -> None:
        """Close those that a stranger holds over the number, the idlest first.

        Not before each could say something: many phones may come at once from behind one address.
        """
        by_address: dict[str, list[Connection]] = {}
        for each in self._all:
            if each.stranger:
                by_address.setdefault(each.near, []).append(each)
        for those in by_address.values():
            over = len(those) - self._bounds.stranger_connections
            idle = [each for each in those if not each.away and each.since + PATIENCE_S <= now]
            for connection in sorted(idle, key=lambda each: each.worth(now))[: max(0, over)]:
                self._close(connection)

    def _take_fewer(self, now: float) -> None:
        """Hold fewer connections from now on, since the system gives no more files, and pause."""
        self._most = max(LEAST_CONNECTIONS, len(self._all) - FEWER)
        while len(self._all) > self._most and self._make_room(self._all, now):
            pass
        self._rest()
        self._accepts_again_at = now + PAUSE_S

    def _rest(self) -> None:
        """Leave newcomers where they are."""
        if self._listener is not None:
            self._watch(self._listener, 0, self._accept)

    def _take_in(self, plain: socket.socket, address: str, port: int, now: float) -> None:
        address = str(parsed(address) or address)
        if len(self._all) >= self._most and not self._make_room(self._all, now):
            plain.close()
            return
        scheme = "http" if self.tls is None else "https"
        place = Place(scheme, self.bind_addr[1], address, port)
        connection = Connection(plain, place, self._bounds, self._visitors, self.tls, now)
        self._all[connection] = None
        self._attend(connection, None, now)

    def _make_room(self, among: Iterable[Connection], now: float) -> bool:
        """Close the one that is missed least; whether there was one."""
        idle = min(
            (each for each in among if not each.away),
            key=lambda each: each.worth(now),
            default=None,
        )
        if idle is not None:
            self._close(idle)
        return idle is not None

    def _close(self, connection: Connection) -> None:
        self._watch(connection.file_number, 0, connection)
        self._all.pop(connection, None)
        connection.close(at_once=connection.phase is Phase.WRITING)

    def _work(
        self, work: Callable[[Connection], None], connection: Connection, then: Step | None
    ) -> None:
        """In a thread of the app: do the work with a connection, and hand it back."""
        try:
            work(connection)
        except Exception:
            _log()
            connection.close(at_once=True)
        self._handed_back.append((connection, then))
        self._wake()

    def _ask_who(self, connection: Connection) -> None:
        environ = environment(cast(Request, connection.request), connection.place)
        with suppress(Exception):  # the app meets it too, and answers with a sentence
            if self._vouch is not None and self._vouch(environ):
                self._visitors.vouch_for(connection.place.address)

    def _answer(self, connection: Connection) -> None:
        environ = environment(cast(Request, connection.request), connection.place)
        try:
            answer = respond(self._app, environ)
        except Exception:
            _log()
            answer = in_short(500)
        connection.answer(answer, time.monotonic())

    def _wake(self) -> None:
        with suppress(OSError):
            self._waker.send(b".")


def _log() -> None:
    """Say on the terminal what went wrong, where there is one."""
    with suppress(Exception):
        traceback.print_exc()

"""Stands between Playwright and a browser of the system: `python bridge.py firefox|webkit BROWSER-ARGUMENTS`.

Playwright starts this in the browser's place and speaks WebDriver BiDi to it. Firefox has its own
end; WebKitGTK gets one from `webkit/`. A command that a browser does not know yet (an emulation
that nobody here asks for) is answered with nothing, where Playwright would give up.
Whatever ends this process ends the browser too, and the browser's screen.
"""

from __future__ import annotations

import asyncio
import ctypes
import json
import os
import re
import shutil
import signal
import sys
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from websockets.asyncio.client import ClientConnection, connect
from websockets.asyncio.server import ServerConnection, serve
from websockets.exceptions import ConnectionClosed

LISTENING = re.compile(rb"WebDriver BiDi listening on (ws://\S+)")
LONGEST_LINE = 1 << 28
GRACE_S = 10.0
SCREEN = ("-screen", "0", "1400x2400x24", "-nolisten", "tcp", "-noreset")
GTK = {"GDK_BACKEND": "x11", "NO_AT_BRIDGE": "1", "GTK_THEME": "Adwaita"}


def die_with_parent() -> None:
    """Let the kernel end this process when the one that started it ends, however it ends."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG, Linux


async def start(*command: str, **more: Any) -> Process:
    return await asyncio.create_subprocess_exec(
        *command, preexec_fn=die_with_parent, limit=LONGEST_LINE, **more
    )


def lenient(message: str) -> str:
    """The browser's answer; an unknown command is taken for one that did nothing."""
    if '"unknown command"' not in message:
        return message
    answer = json.loads(message)
    if answer.get("error") != "unknown command":
        return message
    return json.dumps({"type": "success", "id": answer["id"], "result": {}})


async def pass_on(
    playwright: ServerConnection,
    send: Callable[[str], Awaitable[None]],
    messages: AsyncIterator[str],
) -> None:
    """Carry messages both ways until one side is gone."""

    async def there() -> None:
        async for message in playwright:
            await send(str(message))

    async def back() -> None:
        async for message in messages:
            await playwright.send(lenient(message))

    ways = {asyncio.ensure_future(there()), asyncio.ensure_future(back())}
    _, left = await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
    for way in left:
        way.cancel()
    await asyncio.gather(*ways, return_exceptions=True)


async def serve_one(browser: Process, near: Callable[[ServerConnection], Awaitable[None]]) -> None:
    """Wait for Playwright at a free port of this machine, which it is told, until it or the browser is gone."""
    over = asyncio.Event()

    async def session(playwright: ServerConnection) -> None:
        try:
            with suppress(ConnectionClosed, ConnectionError):
                await near(playwright)
        finally:
            over.set()

    async with serve(session, "127.0.0.1", 0, max_size=None, compression=None) as server:
        port = next(iter(server.sockets)).getsockname()[1]
        print(f"WebDriver BiDi listening on ws://127.0.0.1:{port}", file=sys.stderr, flush=True)
        ended = asyncio.ensure_future(browser.wait())
        await asyncio.wait(
            (ended, asyncio.ensure_future(over.wait())), return_when=asyncio.FIRST_COMPLETED
        )
        with suppress(TimeoutError, asyncio.TimeoutError):
            await asyncio.wait_for(asyncio.shield(ended), GRACE_S)
    end(browser)
    await browser.wait()


def end(process: Process) -> None:
    with suppress(ProcessLookupError):
        process.kill()


def end_at_a_signal(*processes: Process) -> None:
    """End these processes when this one is told to end."""
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        asyncio.get_running_loop().add_signal_handler(number, _end_all, processes)


def _end_all(processes: Iterable[Process]) -> None:
    for process in processes:
        end(process)


async def firefox(arguments: list[str]) -> None:
    program = shutil.which("firefox-esr") or shutil.which("firefox") or "firefox"
    browser = await start(program, *arguments, stdin=DEVNULL, stdout=DEVNULL, stderr=PIPE)
    end_at_a_signal(browser)
    assert browser.stderr is not None
    address = ""
    while not address and (line := await browser.stderr.readline()):
        match = LISTENING.search(line)
        address = match[1].decode() if match else ""
    swallowing = asyncio.ensure_future(swallow(browser.stderr))

    async def near(playwright: ServerConnection) -> None:
        assert playwright.request is not None
        url = address + playwright.request.path
        async with connect(url, max_size=None, compression=None, proxy=None) as far:
            await pass_on(playwright, far.send, texts(far))

    await serve_one(browser, near)
    await swallowing


async def texts(far: ClientConnection) -> AsyncIterator[str]:
    async for message in far:
        yield str(message)


async def swallow(stream: asyncio.StreamReader) -> None:
    while await stream.readline():
        pass


async def webkit(arguments: list[str]) -> None:
    reading, writing = os.pipe()
    quiet = {"stdin": DEVNULL, "stdout": DEVNULL, "stderr": DEVNULL, "pass_fds": (writing,)}
    display = await start("Xvfb", "-displayfd", str(writing), *SCREEN, **quiet)
    end_at_a_signal(display)
    os.close(writing)
    with os.fdopen(reading) as number:
        name = await asyncio.to_thread(number.readline)
    environ = {**os.environ, **GTK, "DISPLAY": f":{name.strip()}"}
    environ.pop("WAYLAND_DISPLAY", None)
    window = await start(
        os.environ.get("PITAPP_SYSTEM_PYTHON", "/usr/bin/python3"),
        str(Path(__file__).with_name("webkit")),
        arguments[arguments.index("--profile") + 1],
        stdin=PIPE,
        stdout=PIPE,
        env=environ,
    )
    end_at_a_signal(window, display)
    commands, answers = window.stdin, window.stdout
    assert commands is not None
    assert answers is not None

    async def send(message: str) -> None:
        commands.write(message.encode() + b"\n")
        await commands.drain()

    async def near(playwright: ServerConnection) -> None:
        await pass_on(playwright, send, lines(answers))
        commands.close()

    try:
        await serve_one(window, near)
    finally:
        end(display)


async def lines(stream: asyncio.StreamReader) -> AsyncIterator[str]:
    while line := await stream.readline():
        yield line.decode()


if __name__ == "__main__":
    die_with_parent()
    which = {"firefox": firefox, "webkit": webkit}[sys.argv[1]]
    asyncio.run(which(sys.argv[2:]))

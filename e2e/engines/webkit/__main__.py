"""WebKitGTK as the far end of WebDriver BiDi: commands come in as lines of JSON, answers and events go out so.

`/usr/bin/python3 e2e/engines/webkit PROFILE`: with the system's Python, to which GTK's bindings belong.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable

import gi

gi.require_version("Gtk", "3.0")
gi.require_version("Soup", "3.0")
gi.require_version("WebKit2", "4.1")
from commands import COMMANDS  # noqa: E402
from gi.repository import GLib, Gtk  # noqa: E402
from page import PAGES  # noqa: E402
from wire import CommandError, Json, event, now_ms, send  # noqa: E402

# What WebKitGTK prints for a page's console: "address:line:column: CONSOLE SOURCE LEVEL text".
CONSOLE = re.compile(
    r"(?:(?P<url>\S+?|\[native code\])(?::\d+)*: )?CONSOLE(?P<words>(?: [A-Z]+)*) (?P<text>.*)",
    re.DOTALL,
)
STDERR = os.fdopen(os.dup(2), "w", encoding="utf-8")


def carry_out(line: str) -> None:
    command = json.loads(line)
    method, number = command["method"], command["id"]

    def reply(result: Json) -> None:
        send({"type": "success", "id": number, "result": result})

    def fail(why: str, error: str = "unknown error") -> None:
        send({"type": "error", "id": number, "error": error, "message": why})

    if method not in COMMANDS:
        fail(method, "unknown command")
        return
    try:
        COMMANDS[method](command.get("params") or {}, reply, fail)
    except CommandError as error:
        fail(str(error), str(error))
    except Exception as error:
        fail(f"{type(error).__name__}: {error}")


def on_console(line: str) -> None:
    """Pass on what a console said, as said by the page that was opened last."""
    match = CONSOLE.match(line)
    if not match or not PAGES:
        STDERR.write(line + "\n")
        STDERR.flush()
        return
    page = list(PAGES.values())[-1]
    words = match["words"].split()
    thrown = words[:2] == ["JS", "ERROR"]
    level = "error" if "ERROR" in words else "warn" if "WARN" in words else "log"
    frame = {"url": match["url"] or "", "lineNumber": 0, "columnNumber": 0, "functionName": ""}
    event(
        "log.entryAdded",
        type="javascript" if thrown else "console",
        level=level.replace("log", "info"),
        method=level,
        text=match["text"],
        args=[{"type": "string", "value": match["text"]}],
        timestamp=now_ms(),
        source={"realm": page.realm, "context": page.id},
        stackTrace={"callFrames": [frame]},
    )


def lines_from(channel: int, use: Callable[[str], None], ended: Callable[[], None]) -> None:
    """Call `use` with each line that arrives on a file descriptor."""
    held = bytearray()

    def readable(_source: int, _condition: GLib.IOCondition) -> bool:
        data = os.read(channel, 1 << 20)
        if not data:
            ended()
            return False
        held.extend(data)
        *whole, rest = held.split(b"\n")
        held[:] = rest
        for line in whole:
            use(line.decode(errors="replace"))
        return True

    GLib.io_add_watch(channel, GLib.IOCondition.IN | GLib.IOCondition.HUP, readable)


def main() -> None:
    # The web processes print their consoles where this process prints.
    reading, writing = os.pipe()
    os.dup2(writing, 1)
    os.dup2(writing, 2)
    os.close(writing)
    lines_from(reading, on_console, lambda: None)
    lines_from(0, carry_out, Gtk.main_quit)
    Gtk.main()


if __name__ == "__main__":
    main()

"""The service worker's text: what this version consists of, then its strategies, in one file."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import cast

from flask import Flask

from pitapp import __version__
from pitapp.offline.queued_writes import rules
from pitapp.web.http.assets import as_sent
from pitapp.web.http.headers import POLICY

STRATEGIES = (
    "outbox",
    "messages",
    "assets",
    "databases",
    "pages",
    "runs",
    "charges",
    "writes",
    "decisions",
    "worker",
)
KEPT = {".css", ".js", ".svg", ".webmanifest"}
LATER = "js/sound/passing/"
"""Scripts of a screen that few open: they come, and are kept, when that screen first asks for them."""


class Worker:
    """The worker of this process: made once, when it is first asked for."""

    def __init__(self, app: Flask) -> None:
        self._app = app
        self._made: tuple[str, str] | None = None

    @property
    def version(self) -> str:
        """A name that changes with any static file, strategy or late write."""
        return self._parts()[0]

    @property
    def script(self) -> str:
        """The text of `/sw.js`."""
        return self._parts()[1]

    def _parts(self) -> tuple[str, str]:
        if self._made is None or self._app.debug:
            static_url = cast(Callable[[str], str], self._app.jinja_env.filters["static_url"])
            folder = Path(self._app.static_folder or "")
            texts = [as_sent(folder / "js" / "sw" / f"{name}.js").decode() for name in STRATEGIES]
            strategies = "".join(texts)
            urls = {name: static_url(name) for name in files(folder)}
            manifest = {
                "files": [url for name, url in urls.items() if not name.startswith(LATER)],
                "later": [url for name, url in urls.items() if name.startswith(LATER)],
                "writes": rules(self._app),
                "policy": POLICY,
            }
            whole = json.dumps([__version__, strategies, manifest])
            version = hashlib.sha256(whole.encode()).hexdigest()[:12]
            told_all = json.dumps({"version": version, **manifest}, separators=(",", ":"))
            self._made = version, f"self.PITAPP = {told_all};\n{strategies}"
        return self._made


def files(static_folder: Path) -> list[str]:
    """Every static file that pages are made of, by its path below the static folder."""
    return [
        path.relative_to(static_folder).as_posix()
        for path in sorted(static_folder.rglob("*"))
        if path.suffix in KEPT and path.parent != static_folder / "js" / "sw"
    ]

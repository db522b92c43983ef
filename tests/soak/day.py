"""What each phone does on a busy day, and what is measured of it.

One phone in an hour, as often as somebody in a pit with two heats an hour might: the Board lies open and
is asked for every 15 s; a third of the phones show a charge, which asks for the time every 30 s; pages
are opened, gears fitted, runs logged, checks stepped through, heats noted as done. With `kept` each
phone also fetches what it keeps for having no signal (over https only), as its worker does: after a
visit to the Board, at most once a minute, and after writes. From memory, no source.
"""

from __future__ import annotations

import random
import re
import sqlite3
import threading
import time
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median, quantiles

from e2e.server import ServerProcess
from pitapp import create_app
from pitapp.demo import fill
from pitapp.devices.addresses import own_addresses
from tests.soak.phone import Form, Phone

HOUR_S = 3600.0
POLLS = {"/part": 240}
CLOCK = {"/packs/clock": 120}
CHARGING_ONE_IN = 3
PAGES = {
    "/": 20,
    "/gearing?spur=66&pinion=45&internal=1.9&tyre=63&kv=2380&volts=7.4": 10,
    "/runs": 6,
    "/checks": 4,
    "/checks/card": 2,
    "/forecast": 4,
    "/packs": 6,
    "/meetings": 2,
    "/more": 4,
}
WRITES = {"fit": 4, "run": 2, "check": 12, "heat": 4}
KEPT = "/offline/pages"
KEEP_AGAIN_S, KEEP_SOON_S = 60.0, 2.0
SAMPLE_S = 0.25
WARM_UP = 0.5
"""The part of the time in which each thread of the server meets every page, and its memory settles."""
NOISE_MIB, NOISE = 1.0, 0.02
LIMIT_S, LIMIT_MEDIANS = 0.3, 10.0


@dataclass
class Report:
    """What came of a soak; `lost` and `twice` are keys of writes that were confirmed."""

    phones: int
    from_outside: bool
    stranger: int
    answers: Counter[int] = field(default_factory=Counter)
    times_s: list[float] = field(default_factory=list)
    by_path: dict[str, list[float]] = field(default_factory=dict)
    memory_mib: list[float] = field(default_factory=list)
    confirmed: Counter[str] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    twice: list[str] = field(default_factory=list)
    sound: bool = False

    @property
    def median_s(self) -> float:
        return median(self.times_s)

    @property
    def p99_s(self) -> float:
        return quantiles(self.times_s, n=100)[98]

    @property
    def limit_s(self) -> float:
        """How long the slowest 1 % may take: what a thumb does not notice, or ten medians."""
        return max(LIMIT_S, LIMIT_MEDIANS * self.median_s)

    @property
    def begin_mib(self) -> float:
        """The memory in the tenth of the time after the warm-up."""
        at = int(len(self.memory_mib) * WARM_UP)
        return median(self.memory_mib[at : at + self._tenth])

    @property
    def end_mib(self) -> float:
        """The memory in the last tenth of the time."""
        return median(self.memory_mib[-self._tenth :])

    @property
    def flat(self) -> bool:
        """Whether the memory grew by no more than noise: 1 MiB, or 2 % if that is more."""
        return self.end_mib - self.begin_mib <= max(NOISE_MIB, NOISE * self.begin_mib)

    @property
    def _tenth(self) -> int:
        return max(1, len(self.memory_mib) // 10)


class Crew:
    """Phones that do their day side by side, `speed` times as fast as it is."""

    def __init__(
        self, server: ServerProcess, phones: int, hours: float, speed: float, *, kept: bool
    ) -> None:
        outside = next(iter(own_addresses()), None)
        self._server, self._hours, self._speed, self._kept = server, hours, speed, kept
        self._host = outside or "127.0.0.1"
        stranger = Phone(self._host, server.port, "Stranger")
        self.report = Report(phones, outside is not None, stranger.status("/gearing"))
        stranger.close()
        self.phones = [self._paired(number) for number in range(phones)]
        self.keys: dict[str, list[str]] = {kind: [] for kind in WRITES}
        self._errors: list[BaseException] = []

    def _paired(self, number: int) -> Phone:
        phone = Phone(self._host, self._server.port, f"Phone {number + 1}")
        if self.report.from_outside:
            here = Phone("127.0.0.1", self._server.port, "This machine")
            here.send(Form(here.get("/devices"), "/devices/code"))
            code = re.search(r"\b(\d{4}) (\d{4})\b", here.page)
            here.close()
            if code is None:
                raise AssertionError("The Devices screen shows no code.")
            phone.pair("".join(code.groups()))
        return phone

    def work(self) -> Report:
        """Let the day pass; return what was measured."""
        for phone in self.phones:
            phone.times_s.clear()
            phone.by_path.clear()
            phone.answers.clear()
        begun = time.monotonic()
        threads = [
            threading.Thread(target=self._day, args=(phone, number, begun), daemon=True)
            for number, phone in enumerate(self.phones)
        ]
        for thread in threads:
            thread.start()
        while any(thread.is_alive() for thread in threads):
            self.report.memory_mib.append(memory_mib(self._server.pid))
            time.sleep(SAMPLE_S)
        if self._errors:
            raise self._errors[0]
        for phone in self.phones:
            self.report.times_s += phone.times_s
            self.report.answers += phone.answers
            for kind, times in phone.by_path.items():
                self.report.by_path.setdefault(kind, []).extend(times)
            phone.close()
        self._look_into_the_database()
        return self.report

    def _day(self, phone: Phone, number: int, begun: float) -> None:
        chance = random.Random(number)
        keep_at, kept_at = float("inf"), -KEEP_AGAIN_S
        try:
            for moment, action in self._timetable(number, chance):
                while self._kept and keep_at <= moment:
                    self._wait(begun, keep_at)
                    kept_at, keep_at = keep_at, float("inf")
                    phone.get(KEPT)
                self._wait(begun, moment)
                if action in WRITES:
                    key = getattr(self, f"_{action}")(phone, chance)
                    if key is not None:
                        self.keys[action].append(key)
                        keep_at = moment + KEEP_SOON_S
                else:
                    phone.get(action)
                    if action == "/" and moment - kept_at >= KEEP_AGAIN_S:
                        keep_at = moment
        except BaseException as error:  # told by the thread that waits for all
            self._errors.append(error)

    def _wait(self, begun: float, moment: float) -> None:
        time.sleep(max(0.0, begun + moment / self._speed - time.monotonic()))

    def _timetable(self, number: int, chance: random.Random) -> list[tuple[float, str]]:
        clock = CLOCK if number % CHARGING_ONE_IN == 0 else {}
        found = []
        for action, an_hour in (POLLS | clock | PAGES | WRITES).items():
            times = an_hour * self._hours
            whole = int(times) + (chance.random() < times % 1)
            found += [
                ((place + chance.random()) * self._hours * HOUR_S / whole, action)
                for place in range(whole)
            ]
        return sorted(found)

    def _fit(self, phone: Phone, chance: random.Random) -> str | None:
        form = Form(phone.get("/gearing"), "/gearing/fit")
        return phone.send(form, pinion=str(chance.randint(40, 48)), spur="66")

    def _run(self, phone: Phone, chance: random.Random) -> str | None:
        form = Form(phone.get("/runs/new"), "/runs/new")
        lap = f"{chance.uniform(14, 16):.3f}"
        pack = form.fields.get("pack_id", "")
        return phone.send(form, best_lap_s=lap, can_c="63", remarks="{key}", pack_id=pack)

    def _check(self, phone: Phone, chance: random.Random) -> str | None:
        form = Form(phone.get("/checks/lists/1/run"), "/checks/walks/[^/]+/steps/[0-9]+")
        return phone.send(form, take="") if form.found else None

    def _heat(self, phone: Phone, chance: random.Random) -> str | None:
        heats = re.findall(r'href="(/meetings/heats/\d+)"', phone.get("/meetings/8"))
        form = Form(phone.get(chance.choice(heats)), "/meetings/heats/[0-9]+/done")
        return phone.send(form) if form.found else None

    def _look_into_the_database(self) -> None:
        report = self.report
        with closing(sqlite3.connect(self._server.data_dir / "pitapp.sqlite3")) as database:
            known = Counter(row[0] for row in database.execute("SELECT key FROM answered_writes"))
            runs = Counter(row[0] for row in database.execute("SELECT remarks FROM runs"))
            report.sound = database.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        for kind, keys in self.keys.items():
            report.confirmed[kind] = len(keys)
            report.lost += [key for key in keys if not known[key]]
        report.lost += [key for key in self.keys["run"] if not runs[key]]
        report.twice += [key for key in self.keys["run"] if runs[key] > 1]


def memory_mib(process: int) -> float:
    """What a process holds in memory now (resident, Linux)."""
    text = Path(f"/proc/{process}/status").read_text()
    return int(re.search(r"VmRSS:\s+(\d+)", text)[1]) / 1024  # type: ignore[index]


def soak(folder: Path, phones: int, hours: float, speed: float, *, kept: bool = False) -> Report:
    """Serve an invented season in `folder` and let so many phones pass so many hours of a race day."""
    app = create_app(folder / "data", invented=True)
    fill(app)
    app.extensions["pitapp.db"].close()
    server = ServerProcess(folder / "data", ("-m", "pitapp", "serve", "--share"))
    server.start()
    try:
        return Crew(server, phones, hours, speed, kept=kept).work()
    finally:
        server.kill()

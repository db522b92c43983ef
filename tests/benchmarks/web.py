"""What it costs to start the app and to serve its pages, beside a bare Flask app."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from http.client import HTTPConnection
from itertools import count
from pathlib import Path

from e2e.server import ServerProcess
from pitapp import create_app
from pitapp.demo import fill
from tests.benchmarks import Row, row_of

GEARING = "/gearing?spur=66&pinion=45&internal=1.9&tyre=63&kv=2380&volts=7.4&rev_limit=14600"
NEVER_TWICE = "{}"
"""In an address: the place of a number that is another at each request."""
ALWAYS_NEW = GEARING.replace("tyre=63", f"tyre=63.{NEVER_TWICE}")
PAGES = (
    ("Gearing", GEARING, "at least 0.5"),
    ("Gearing, always with other numbers", ALWAYS_NEW, "none"),
    ("Board", "/", "none"),
)
DEMO_PAGES = (
    ("Board of the demo", "/"),
    ("Checks", "/checks"),
    ("Runs", "/runs"),
    ("More", "/more"),
    ("Forecast", "/forecast"),
    ("Packs", "/packs"),
    ("Meetings", "/meetings"),
)
NUMBERS = count(100_000, 20_000)
"""Where the numbers of a round begin: none comes again in a later round."""
WRK_SCRIPT = """
local number = {first}
request = function()
  number = number + 1
  return wrk.format("GET", (string.gsub("{path}", "{{}}", number)))
end
"""
ROUNDS = 5
CONNECTIONS = 8
LOAD_SECONDS = 1

PEAK = """
import sys
from pathlib import Path
status = Path("/proc/self/status")
if status.exists():
    line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
    print(int(line.split()[1]) / 1024)
else:
    import resource
    unit = 2**20 if sys.platform == "darwin" else 2**10
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit)
"""
START = "import sys; from pitapp import create_app; create_app(sys.argv[1])" + PEAK
BARE_START = "from tests.benchmarks.bare import bare_app; bare_app()" + PEAK


def rows() -> list[Row]:
    """Return start time, peak memory and request rates."""
    empty = [rate_row(name, path, target) for name, path, target in PAGES]
    full = [rate_row(name, path, demo=True) for name, path in DEMO_PAGES]
    return [*start_rows(), *empty, *full]


def start_rows(rounds: int = 9) -> list[Row]:
    """Return the cost of a first start (empty data folder) and of every later one."""
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "kept"
        started(START, kept)
        started(BARE_START)
        first = [
            (started(START, Path(folder) / f"{n}")[0], started(BARE_START)[0])
            for n in range(rounds)
        ]
        later = [(started(START, kept), started(BARE_START)) for _ in range(rounds)]
    times = [(mine[0], bare[0]) for mine, bare in later]
    peaks = [(mine[1], bare[1]) for mine, bare in later]
    return [
        row_of("start", times, unit="s", target="at most 1.5"),
        row_of("first start, with an empty data folder", first, unit="s", target="none"),
        row_of("peak memory", peaks, unit="MiB", target="at most 1.5"),
    ]


def installed() -> dict[str, str]:
    """Return an environment in which modules are compiled once and kept, as an installer does."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return environment | {"PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir(), "pitapp-pyc"))}


def started(program: str, *arguments: object) -> tuple[float, float]:
    """Run a program to its end; return its seconds and its peak memory in MiB."""
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", program, *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
        env=installed(),
    )
    return time.perf_counter() - begin, float(done.stdout.split()[-1])


def rate_row(name: str, path: str, target: str = "none", *, demo: bool = False) -> Row:
    """Return the request rate of one page, with no data or the demo's, beside a bare page of its size."""
    with tempfile.TemporaryDirectory() as folder, ExitStack() as running:
        if demo:
            filled = create_app(Path(folder, "app"), invented=True)
            fill(filled)
            filled.extensions["pitapp.db"].close()
        app = running.enter_context(serving(ServerProcess(Path(folder, "app"))))
        size, cookie = visit(app, path)
        command = ("-m", "tests.benchmarks.bare", "--size", str(size))
        with serving(ServerProcess(Path(folder, "bare"), command)) as bare:
            bare_size, _ = visit(bare, "/")
            if abs(bare_size - size) > size / 20:
                raise AssertionError(f"The pages have {size} and {bare_size} bytes.")
            pairs = [(rate(app, path, cookie), rate(bare, "/", "")) for _ in range(ROUNDS)]
    return row_of(f"{name} ({size / 1024:.0f} KiB)", pairs, unit="requests/s", target=target)


@contextmanager
def serving(process: ServerProcess) -> Iterator[ServerProcess]:
    process.start()
    try:
        yield process
    finally:
        process.kill()


def visit(server: ServerProcess, path: str) -> tuple[int, str]:
    """Fetch a page once; return its size and the cookie to send with the next visit."""
    connection = HTTPConnection("127.0.0.1", server.port, timeout=10)
    connection.request("GET", path.replace(NEVER_TWICE, str(next(NUMBERS))))
    answer = connection.getresponse()
    size = len(answer.read())
    connection.close()
    if answer.status != 200:
        raise AssertionError(f"{path} answered {answer.status}")
    return size, (answer.getheader("Set-Cookie") or "").split(";")[0]


def rate(server: ServerProcess, path: str, cookie: str) -> float:
    """Return requests a second over kept connections, for a bounded time."""
    if wrk := shutil.which("wrk"):
        return rate_with_wrk(wrk, server.url, path, cookie)
    ends = time.perf_counter() + LOAD_SECONDS
    counts: list[int] = []
    numbers = count(next(NUMBERS))

    def load() -> None:
        connection = HTTPConnection("127.0.0.1", server.port, timeout=10)
        done = 0
        while time.perf_counter() < ends:
            asked = path.replace(NEVER_TWICE, str(next(numbers)))
            connection.request("GET", asked, headers={"Cookie": cookie} if cookie else {})
            answer = connection.getresponse()
            answer.read()
            if answer.status != 200:
                raise AssertionError(f"{path} answered {answer.status}")
            done += 1
        counts.append(done)
        connection.close()

    begin = time.perf_counter()
    threads = [threading.Thread(target=load) for _ in range(CONNECTIONS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if len(counts) != CONNECTIONS:
        raise AssertionError("A connection failed under load.")
    return sum(counts) / (time.perf_counter() - begin)


def rate_with_wrk(wrk: str, url: str, path: str, cookie: str) -> float:
    """Return requests a second as the load tool `wrk` counts them."""
    how = ["-t1", f"-c{CONNECTIONS}", f"-d{LOAD_SECONDS}s"]
    how += ["-H", f"Cookie: {cookie}"] if cookie else []
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as script:
        script.write(WRK_SCRIPT.format(first=next(NUMBERS), path=path))
        script.flush()
        how += ["-s", script.name] if NEVER_TWICE in path else []
        address = url if NEVER_TWICE in path else url + path
        done = subprocess.run(
            [wrk, *how, address], capture_output=True, text=True, timeout=30, check=True
        )
    found = re.search(r"Requests/sec:\s*([\d.]+)", done.stdout)
    if found is None or "Non-2xx" in done.stdout or "Socket errors" in done.stdout:
        raise AssertionError(done.stdout)
    return float(found[1])

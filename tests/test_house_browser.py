"""The search for a browser: what it tries, in which order, and what it says."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from e2e.browser import LAUNCH_FLAGS, VARIABLE, BrowserMissingError, Machine, ready_browser, run

BUNDLED = "/cache/chrome"
PLAYWRIGHT = (sys.executable, "-m", "playwright", "install", "chromium")


class FakeMachine:
    """A computer with given programs, on which given commands add files."""

    def __init__(
        self,
        *files: str,
        environ: dict[str, str] | None = None,
        system: str = "Linux",
        is_root: bool = True,
        broken: tuple[str, ...] = (),
        adds: dict[str, str] | None = None,
    ) -> None:
        self.files = set(files)
        self.broken = broken
        self.adds = adds or {}
        self.ran: list[tuple[str, ...]] = []
        self.said: list[str] = []
        self.machine = Machine(
            environ=environ or {},
            system=system,
            is_root=is_root,
            which=self.which,
            is_file=self.files.__contains__,
            run=self.run,
            say=self.said.append,
        )

    def which(self, name: str) -> str | None:
        return next((path for path in self.files if path == f"/usr/bin/{name}"), None)

    def run(self, command: Sequence[str], seconds: float) -> bool:
        assert 0 < seconds <= 600
        if command[-1] == "--version":
            return command[0] in self.files and command[0] not in self.broken
        self.ran.append(tuple(command))
        new = self.adds.get(Path(command[0]).name if command[0] != sys.executable else "playwright")
        if new and "update" not in command:
            self.files.add(new)
        return new is not None

    def ready(self) -> str:
        return ready_browser(self.machine, BUNDLED).as_posix()


@pytest.mark.parametrize("name", ["chromium", "chromium-headless-shell", "google-chrome-stable"])
def test_an_installed_browser_is_taken_and_nothing_is_installed(name: str) -> None:
    fake = FakeMachine(f"/usr/bin/{name}", BUNDLED, "/usr/bin/apt-get")
    assert fake.ready() == f"/usr/bin/{name}"
    assert fake.ran == []
    assert name in fake.said[-1]


def test_the_variable_comes_first() -> None:
    fake = FakeMachine("/usr/bin/chromium", "/opt/own", environ={VARIABLE: "/opt/own"})
    assert fake.ready() == "/opt/own"


def test_the_variable_may_be_a_name_on_the_path() -> None:
    fake = FakeMachine("/usr/bin/chromium", "/usr/bin/own", environ={VARIABLE: "own"})
    assert fake.ready() == "/usr/bin/own"


def test_a_wrong_variable_is_an_error_and_not_passed_over() -> None:
    fake = FakeMachine("/usr/bin/chromium", environ={VARIABLE: "/opt/gone"})
    with pytest.raises(BrowserMissingError, match=f"{VARIABLE} names /opt/gone"):
        fake.ready()


def test_a_stand_in_that_does_not_start_is_passed_over() -> None:
    fake = FakeMachine(
        "/usr/bin/chromium-browser", "/usr/bin/google-chrome", broken=("/usr/bin/chromium-browser",)
    )
    assert fake.ready() == "/usr/bin/google-chrome"


@pytest.mark.parametrize(
    ("system", "place"),
    [
        ("Darwin", "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome"),
        ("Windows", "C:/Program Files/Google/Chrome/Application/chrome.exe"),
    ],
)
def test_the_usual_places_are_looked_at(system: str, place: str) -> None:
    fake = FakeMachine(place, system=system, is_root=False)
    assert fake.ready() == place
    assert fake.ran == []


def test_playwrights_own_browser_is_used_where_it_is() -> None:
    fake = FakeMachine(BUNDLED)
    assert fake.ready() == BUNDLED
    assert fake.ran == []


def test_playwrights_download_is_tried_first() -> None:
    fake = FakeMachine("/usr/bin/apt-get", adds={"playwright": BUNDLED})
    assert fake.ready() == BUNDLED
    assert fake.ran == [PLAYWRIGHT]


def test_the_systems_package_comes_after_a_failed_download() -> None:
    fake = FakeMachine("/usr/bin/apt-get", adds={"apt-get": "/usr/bin/chromium"})
    assert fake.ready() == "/usr/bin/chromium"
    assert [command[:2] for command in fake.ran] == [
        PLAYWRIGHT[:2],
        ("apt-get", "update"),
        ("apt-get", "install"),
    ]
    assert "installed with apt-get" in fake.said[-1]


def test_a_download_that_lacks_system_libraries_leads_on_to_the_package() -> None:
    fake = FakeMachine(
        "/usr/bin/apt-get",
        broken=(BUNDLED,),
        adds={"playwright": BUNDLED, "apt-get": "/usr/bin/chromium"},
    )
    assert fake.ready() == "/usr/bin/chromium"


def test_without_root_no_system_package_is_touched() -> None:
    fake = FakeMachine("/usr/bin/apt-get", is_root=False, adds={"apt-get": "/usr/bin/chromium"})
    with pytest.raises(BrowserMissingError):
        fake.ready()
    assert fake.ran == [PLAYWRIGHT]


def test_brew_needs_no_root() -> None:
    app = "/Applications/Chromium.app/Contents/MacOS/Chromium"
    fake = FakeMachine("/usr/bin/brew", system="Darwin", is_root=False, adds={"brew": app})
    assert fake.ready() == app


def test_the_failure_says_what_to_do() -> None:
    with pytest.raises(BrowserMissingError) as failure:
        FakeMachine().ready()
    assert "apt-get install chromium" in str(failure.value)
    assert VARIABLE in str(failure.value)


def test_a_command_is_run_with_a_time_limit_and_never_raises() -> None:
    assert run((sys.executable, "-c", "pass"), 30)
    assert not run((sys.executable, "-c", "raise SystemExit(3)"), 30)
    assert not run((sys.executable, "-c", "import time; time.sleep(60)"), 0.2)
    assert not run(("/no/such/program",), 30)


def test_the_browser_is_kept_from_calling_home() -> None:
    assert "--disable-background-networking" in LAUNCH_FLAGS
    assert "--disable-component-update" in LAUNCH_FLAGS

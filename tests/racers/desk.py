"""An invented racer at the app: what is known goes in by its forms, the forecast is read off its pages."""

from __future__ import annotations

import re
import tempfile
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, cast

from tests.racers.people import INTERNAL, Typed
from tests.racers.season import Logged
from tests.support import RACE_MORNING, Clock, PageClient

_GEAR = re.compile(r'<data id="gear-(\d+)-(\d+)-([a-z-]+)" value="([^"]+)"')
_LAPS = re.compile(r'name="laps" value="([^"]+)"')
_TRY = re.compile(r'id="try-next".*?pinion=(\d+)&amp;spur=(\d+)', re.S)
_HEAD = re.compile(r'<data id="head-(pinion|spur)" value="(\d+)"')


class Shown(NamedTuple):
    """What the pages say: figures by gear and name, the gear at the head, the one to try next."""

    gears: dict[tuple[int, int], dict[str, float]]
    head: tuple[int, int] | None
    none_safe: bool
    trial: tuple[int, int] | None = None


class Desk:
    """One racer's own server, filled through its forms."""

    def __init__(self, typed: Typed, folder: Path | None = None) -> None:
        from pitapp import create_app

        self._own = tempfile.TemporaryDirectory() if folder is None else None
        self.folder = folder or Path(cast(tempfile.TemporaryDirectory[str], self._own).name)
        self.clock = Clock(RACE_MORNING)
        self.app = create_app(self.folder / "data", clock=self.clock)
        self.app.test_client_class = PageClient
        self.client = cast(PageClient, self.app.test_client())
        self.token = self.client.csrf_token()
        self.typed = typed
        self.runs = 0
        self._begin()

    def __enter__(self) -> Desk:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.app.extensions["pitapp.db"].close()
        if self._own:
            self._own.cleanup()

    def post(self, url: str, **fields: object) -> None:
        """Send a form; an answer that is no redirect is an error of these tests."""
        data = {name: str(value) for name, value in fields.items() if value is not None}
        answer = self.client.post(url, data={"csrf_token": self.token, **data})
        if answer.status_code != 303:
            errors = re.findall(r'class="error"[^>]*>(.*?)</', answer.text, re.S)
            raise AssertionError(f"{url} answered {answer.status}: {data} {errors}")

    def _begin(self) -> None:
        typed = self.typed
        self.post(
            "/kit/motors/new",
            name="Motor",
            kv_rpm_per_v=typed.kv,
            resistance_ohm=None if typed.motor_ohm is None else typed.motor_ohm * 1000,
        )
        self.post(
            "/kit/cars/new",
            name="Car",
            internal_ratio=INTERNAL,
            pitch="dp:64",
            tyre_diameter_mm=typed.tyre_mm,
            motor_id=1,
            mass_g=typed.mass_g,
            rev_limit_rpm=typed.rev_limit,
        )
        for kind, teeth in (("pinion", typed.pinions), ("spur", typed.spurs)):
            self.post(
                "/kit/gears", kind=kind, pitch="dp:64", teeth=", ".join(str(each) for each in teeth)
            )
        self.post("/packs/new", mark="A", cells_series=2, capacity_mah=typed.capacity_mah)
        self.post("/meetings/classes/new", name="Class", run_length_s=typed.run_s / 60)
        rows: dict[str, object] = {}
        for index, (length, enter, leave) in enumerate(typed.straights):
            rows[f"rows-{index}-length_m"] = length
            rows[f"rows-{index}-entry_kmh"] = enter
            rows[f"rows-{index}-exit_kmh"] = leave
        self.post(
            "/tracks/new",
            name="Track",
            lap_length_m=typed.lap_m if typed.straights else None,
            **rows,
        )
        if not typed.straights:
            self.post("/forecast/feel", track=1, longest=typed.longest_m, corners=typed.corners)

    def moment(self, hours: float) -> datetime:
        """So long after the first morning."""
        return RACE_MORNING + timedelta(hours=hours)

    def fit(self, pinion: int, spur: int) -> None:
        """Fit a gear."""
        self.post("/gearing/fit", pinion=pinion, spur=spur)

    def log(self, run: Logged, *, sure: bool = False) -> None:
        """Fit the gear and log the run, at its time; `sure` confirms what was asked about."""
        self.clock.set(self.moment(run.hours))
        self.fit(run.pinion, run.spur)
        self.clock.tick(run.run_s + 300)
        self.post(
            "/runs/new",
            version=1,
            sure="y" if sure else None,
            can_c=run.can_c,
            read_after_s=run.read_after_s,
            second_can_c=run.second_c,
            second_after_s=run.second_after_s,
            air_c=run.air_c,
            best_lap_s=run.best_lap_s,
            laps=run.laps,
            run_s=run.run_s,
            pinion_teeth=run.pinion,
            spur_teeth=run.spur,
            internal_ratio=INTERNAL,
            tyre_diameter_mm=self.typed.tyre_mm,
            pack_id=1,
            motor_id=1,
            car_id=1,
            track_id=1,
            race_class_id=1,
            started=self.moment(run.hours).strftime("%Y-%m-%dT%H:%M"),
        )
        self.runs += 1
        if run.lap_list:
            self.add_laps(self.runs, run.lap_list)

    def hear(self, run_id: int, speed_kmh: float, spread_kmh: float) -> None:
        """Save a run's top speed as the screen that hears a car pass does."""
        self.post(
            "/sound/passing",
            car_id=1,
            run_id=run_id,
            top_speed_kmh=round(speed_kmh, 2),
            top_speed_spread_kmh=round(spread_kmh, 2),
        )

    def add_laps(self, run_id: int, laps_s: tuple[float, ...]) -> None:
        """Paste a run's laps, look at how they were understood, and save them."""
        url = f"/runs/{run_id}/laps"
        times = "\n".join(f"{lap:.2f}" for lap in laps_s)
        looked = self.client.post(
            f"{url}/look", data={"csrf_token": self.token, "times": times}
        ).text
        understood = _LAPS.search(looked)
        if understood is None:
            raise AssertionError(f"{url}: these laps were not understood: {times}")
        self.post(url, laps=understood[1], earlier="")

    def forecast(self, hours: float, air_c: float) -> Shown:
        """What the pages forecast for a run now, in this air."""
        self.clock.set(self.moment(hours))
        self.post("/forecast/figures/air_c", track=1, value=air_c, measured="yes")
        answer = self.client.get("/forecast/gears?track=1&race_class=1")
        gears: dict[tuple[int, int], dict[str, float]] = {}
        for pinion, spur, name, value in _GEAR.findall(answer.text):
            gears.setdefault((int(pinion), int(spur)), {})[name] = float(value)
        page = self.client.get("/forecast?track=1&race_class=1").text
        head = {name: int(value) for name, value in _HEAD.findall(page)}
        none_safe = "No gear here is safe" in page
        shown = (head["pinion"], head["spur"]) if len(head) == 2 and not none_safe else None
        trial = _TRY.search(page)
        tried = (int(trial[1]), int(trial[2])) if trial else None
        return Shown(gears, shown, none_safe, tried)

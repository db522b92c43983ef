"""What a ranking says of one gear."""

from __future__ import annotations

from typing import NamedTuple

from pitapp.drive.physics.results import Level
from pitapp.drive.ranking.verdict import Outlook, verdict_of


class GearForecast(NamedTuple):
    """What one gear would do on this track, against the gear now fitted.

    Temperatures are of the can when the run ends; the uncertainties are standard ones (about two
    runs in three fall inside). Seconds and metres at the rev limit are for one lap.

    Attributes:
        outlook: lap, temperature, metres at the rev limit and charge of this gear.
        fitted: the same of the gear that it is set against.
        as_fitted: whether it has the ratio of that gear.
    """

    pinion_teeth: int
    spur_teeth: int
    final_drive_ratio: float
    outlook: Outlook
    fitted: Outlook
    as_fitted: bool
    lap_difference_se_s: float
    top_speed_m_s: float
    rev_limit_share: float | None
    rev_limit_s: float
    heat_w: float
    level: Level
    notes: tuple[str, ...] = ()

    @property
    def lap_s(self) -> float:
        """A lap, in s."""
        return self.outlook.lap_s

    @property
    def lap_difference_s(self) -> float:
        """A lap against one in the fitted gear, in s."""
        return self.outlook.difference_s

    @property
    def flag_temperature_c(self) -> float:
        """The can at the end of the run, in °C."""
        return self.outlook.temperature_c

    @property
    def flag_temperature_se_c(self) -> float:
        """Its standard uncertainty, in °C."""
        return self.outlook.temperature_se_c

    @property
    def rev_limit_m(self) -> float:
        """The way at the rev limit, in m a lap."""
        return self.outlook.limit_m

    @property
    def charge_mah(self) -> float:
        """What the run takes from the pack, in mAh."""
        return self.outlook.charge_mah

    @property
    def pack_share(self) -> float:
        """That as a share of the pack's capacity."""
        return self.outlook.pack_share

    @property
    def extrapolated(self) -> bool:
        """Whether no logged gear is as long, or none as short."""
        return self.outlook.beyond != 0.0

    @property
    def verdict(self) -> str:
        """The verdict in words, in °C."""
        return verdict_of(self.outlook, self.fitted, same=self.as_fitted)

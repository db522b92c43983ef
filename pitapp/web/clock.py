"""The present moment, and moments as the racer's wall clock shows them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo

from flask import Flask, current_app, g, has_request_context, request

from pitapp.dates import EARLIEST, LATEST, nearest
from pitapp.db import get_db, settings

WAITED_HEADER = "X-Waited-Seconds"
LONGEST_WAIT_S = 60 * 24 * 3600
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
LATEST_CLOCK = LATEST - timedelta(days=366)


def now() -> datetime:
    """The present moment (aware); for a write that waited on a phone, the moment it was made there.

    Tests drive it; see `create_app`.
    """
    return nearest(present() - waited())


def present() -> datetime:
    """The present moment by this machine's clock, whatever the request says: for who may come in.

    A clock that has lost its time counts on from 1970; it is taken as from 2000, so that what is
    written meanwhile can be read. One that is far ahead stands still a year before the range ends.
    """
    moment = _by_the_machine()
    return min(moment if moment >= EARLIEST else moment + (EARLIEST - EPOCH), LATEST_CLOCK)


def clock_is_lost() -> bool:
    """Whether this machine's clock shows a year that cannot be."""
    return not EARLIEST <= _by_the_machine() <= LATEST_CLOCK


def _by_the_machine() -> datetime:
    moment: datetime = current_app.extensions["pitapp.clock"]()
    return moment


def is_late() -> bool:
    """Whether the write that is being answered waited on a phone before it was sent."""
    return has_request_context() and WAITED_HEADER in request.headers


def waited() -> timedelta:
    """How long the write that is being answered has waited for this server."""
    header = request.headers.get(WAITED_HEADER, "") if has_request_context() else ""
    seconds = int(header) if header.isascii() and header.isdecimal() and len(header) < 10 else 0
    return timedelta(seconds=seconds if seconds <= LONGEST_WAIT_S else 0)


def home_zone() -> tzinfo:
    """The time zone of the settings, or the machine's own."""
    if "home_zone" not in g:
        g.home_zone = zone(current_settings().get("time_zone", ""))
    zone_in_use: tzinfo = g.home_zone
    return zone_in_use


def current_settings() -> dict[str, str]:
    """The settings, read once a request."""
    stored: dict[str, str] | None = g.get("settings")
    if stored is None:
        stored = g.settings = settings.read(get_db())
    return stored


@lru_cache(maxsize=16)
def zone(name: str) -> tzinfo:
    """The zone of that IANA name; the machine's own for an empty or unknown one."""
    if name:
        try:
            return ZoneInfo(name)
        except (KeyError, ValueError, OSError):
            pass
    import tzlocal

    return tzlocal.get_localzone()


def moment_text(moment: datetime) -> str:
    """A moment on the racer's wall clock: "today 10:32", "yesterday 10:32", "3 May 10:32"."""
    local, today = moment.astimezone(home_zone()), now().astimezone(home_zone()).date()
    days = (today - local.date()).days
    if days in (0, 1):
        return f"{'today' if days == 0 else 'yesterday'} {local:%H:%M}"
    year = "" if local.year == today.year else f" {local.year}"
    return f"{local.day} {local:%b}{year} {local:%H:%M}"


def register(app: Flask) -> None:
    """Offer the filter `moment` to templates."""
    app.jinja_env.filters["moment"] = moment_text

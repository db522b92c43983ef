"""The present moment, and moments as the racer's wall clock shows them."""

from __future__ import annotations

from datetime import datetime, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo

from flask import Flask, current_app, g

from pitapp.db import get_db, settings


def now() -> datetime:
    """The present moment (aware). Tests drive it; see `create_app`."""
    moment: datetime = current_app.extensions["pitapp.clock"]()
    return moment


def home_zone() -> tzinfo:
    """The time zone of the settings, or the machine's own."""
    if "home_zone" not in g:
        g.home_zone = zone(current_settings().get("time_zone", ""))
    found: tzinfo = g.home_zone
    return found


def current_settings() -> dict[str, str]:
    """The settings, read once a request."""
    if "settings" not in g:
        g.settings = settings.read(get_db())
    found: dict[str, str] = g.settings
    return found


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

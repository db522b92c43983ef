"""The look that was chosen on the device that asks."""

from __future__ import annotations

from flask import request

THEME_COOKIE = "pitapp_theme"
THEMES = {"auto": "As the phone", "light": "Light", "dark": "Dark", "glare": "Sunlight"}


def theme() -> str:
    """The look chosen on this device."""
    chosen = request.cookies.get(cookie_name(), "auto")
    return chosen if chosen in THEMES else "auto"


def cookie_name() -> str:
    """The name of the cookie that holds it."""
    return f"__Host-{THEME_COOKIE}" if request.is_secure else THEME_COOKIE

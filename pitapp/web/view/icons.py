"""The app's own line drawings, each a small SVG that takes the colour of the text around it."""

from __future__ import annotations

from flask import Flask
from markupsafe import Markup

DRAWINGS = {
    "board": '<path d="M4 21V4h16l-3 4.5 3 4.5H4"/>',
    "gearing": (
        '<circle cx="9" cy="14" r="5.5"/><circle cx="9" cy="14" r="1.2"/>'
        '<circle cx="18" cy="6" r="3"/><path d="M9 6.5v2M9 19.5v2M1.5 14h2M14.5 14h2'
        'M3.7 8.7l1.4 1.4M12.9 17.9l1.4 1.4M5.1 17.9l-1.4 1.4"/>'
    ),
    "kit": '<path d="M3 9h18v11H3zM8 9V5h8v4M3 14h7m4 0h7M10 12.5h4v3h-4z"/>',
    "checks": '<path d="m3 6 2 2 3-4M3 13l2 2 3-4M3 20l2 2 3-4M12 6h9M12 13h9M12 20h9"/>',
    "runs": '<path d="M4 12a8 8 0 1 1 3 6.2M12 7v5l3.5 2"/>',
    "more": (
        '<circle cx="5" cy="12" r="1.5"/><circle cx="12" cy="12" r="1.5"/>'
        '<circle cx="19" cy="12" r="1.5"/>'
    ),
    "good": '<circle cx="12" cy="12" r="9"/><path d="m7.5 12.5 3 3 6-7"/>',
    "look": '<path d="M12 3 2.5 20h19zM12 9.5v5M12 17.3v.2"/>',
    "stop": '<path d="M4 4h16v16H4zM8.5 8.5l7 7M15.5 8.5l-7 7"/>',
    "onward": '<path d="m9 5 7 7-7 7"/>',
}
FRAME = (
    '<svg class="icon" viewBox="0 0 24 24" aria-hidden="true" focusable="false" fill="none" '
    'stroke="currentColor" stroke-width="2" stroke-linecap="round" stroke-linejoin="round">'
    "{}</svg>"
)
ICONS = {name: Markup(FRAME.format(drawing)) for name, drawing in DRAWINGS.items()}  # noqa: S704


def register(app: Flask) -> None:
    """Offer the drawings to templates by the filter `icon`."""
    app.jinja_env.filters["icon"] = ICONS.__getitem__

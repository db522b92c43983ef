"""The form of the Settings screen."""

from __future__ import annotations

from wtforms import RadioField

from pitapp.web.forms.form_errors import PitForm
from pitapp.web.view.theme import THEMES


class UnitsForm(PitForm):
    """How quantities are shown and typed."""

    speed_unit = RadioField("Speed", choices={"metric": "km/h", "imperial": "mph"})
    temperature_unit = RadioField("Temperature", choices={"metric": "°C", "imperial": "°F"})
    mass_unit = RadioField("Weight", choices={"metric": "g", "imperial": "oz"})
    length_unit = RadioField("Track lengths", choices={"metric": "m", "imperial": "ft"})


class ThemeForm(PitForm):
    """How the pages look on this device."""

    theme = RadioField("Look", choices=THEMES)

"""The addresses of the Forecast screens."""

from __future__ import annotations

from flask import Blueprint, url_for

from pitapp.drive import screens
from pitapp.drive.car_context import CarContext
from pitapp.drive.inputs import input_screens
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.gearing.models import GearOption

blueprint = Blueprint("drive", __name__, url_prefix="/forecast")
blueprint.get("")(screens.page)
blueprint.get("/part")(screens.part)
blueprint.get("/feel")(screens.feel)
blueprint.post("/feel")(screens.save_feel)
blueprint.get("/gears")(screens.gears)
blueprint.get("/gear")(screens.gear)
blueprint.get("/learned")(screens.learned)
blueprint.get("/what-if")(screens.what_if)
blueprint.get("/shopping")(screens.shopping)


@blueprint.app_template_filter()
def forecast_address(gear: GearOption | GearForecast, context: CarContext) -> str:
    """Return the address of what a gear would do, on the track and in the class of the page."""
    return url_for(
        "drive.gear",
        track=context.track_id,
        race_class=context.class_id or None,
        pinion=gear.pinion_teeth,
        spur=gear.spur_teeth,
    )


figures_blueprint = Blueprint("figures", __name__, url_prefix="/figures")
figures_blueprint.get("")(input_screens.page)
figures_blueprint.get("/<name>")(input_screens.figure_page)
figures_blueprint.post("/<name>")(input_screens.save)
figures_blueprint.post("/<name>/forget")(input_screens.forget)
figures_blueprint.get("/measure/<kind>")(input_screens.measure)
figures_blueprint.post("/measure/<kind>")(input_screens.save_measure)
blueprint.register_blueprint(figures_blueprint)

"""The addresses of the Forecast screens."""

from __future__ import annotations

from flask import Blueprint

from pitapp.drive import screens
from pitapp.drive.inputs import input_screens

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

figures_blueprint = Blueprint("figures", __name__, url_prefix="/figures")
figures_blueprint.get("")(input_screens.page)
figures_blueprint.get("/<name>")(input_screens.figure_page)
figures_blueprint.post("/<name>")(input_screens.save)
figures_blueprint.post("/<name>/forget")(input_screens.forget)
figures_blueprint.get("/measure/<kind>")(input_screens.measure)
figures_blueprint.post("/measure/<kind>")(input_screens.save_measure)
blueprint.register_blueprint(figures_blueprint)

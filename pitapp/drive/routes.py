"""The addresses of the Forecast screens."""

from __future__ import annotations

from flask import Blueprint

from pitapp.drive import figures, screens

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
figures_blueprint.get("")(figures.page)
figures_blueprint.get("/<name>")(figures.one)
figures_blueprint.post("/<name>")(figures.save)
figures_blueprint.post("/<name>/forget")(figures.forget)
figures_blueprint.get("/measure/<kind>")(figures.measure)
figures_blueprint.post("/measure/<kind>")(figures.save_measure)
blueprint.register_blueprint(figures_blueprint)

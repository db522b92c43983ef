"""The addresses of Import and export."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, request

from pitapp.exchange import document, screens, table

ROOM_FOR_FORM = 64 * 1024

blueprint = Blueprint("exchange", __name__, url_prefix="/exchange")
blueprint.get("")(screens.page)
blueprint.get("/everything.json")(screens.everything)
blueprint.get("/everything.schema.json")(screens.schema)
blueprint.get("/sheets/<name>.csv")(screens.sheet)
blueprint.get("/sheets.zip")(screens.all_sheets)
blueprint.get("/empty-runs.csv")(screens.empty_runs)
blueprint.post("/runs")(screens.look_runs)
blueprint.post("/runs/take")(screens.take_runs)
blueprint.post("/everything")(screens.look_everything)
blueprint.post("/everything/take")(screens.take_everything)
blueprint.post("/everything/put-back")(screens.put_back)


@blueprint.url_value_preprocessor
def _allow_large_files(endpoint: str | None, _values: Any) -> None:
    if endpoint == "exchange.look_everything":
        request.max_content_length = document.LARGEST_BYTES + ROOM_FOR_FORM
    elif endpoint == "exchange.look_runs":
        request.max_content_length = table.LARGEST_BYTES + ROOM_FOR_FORM

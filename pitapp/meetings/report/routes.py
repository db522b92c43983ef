"""The report of a meeting as a screen, and as a page to pass on."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, render_template, request

from pitapp.db import get_db
from pitapp.meetings.report.contents import report
from pitapp.web.http.htmx import show

blueprint = Blueprint("report", __name__)


@blueprint.get("/<int:meeting_id>/report")
def page(meeting_id: int) -> Any:
    return show("meetings/report.html", report=report(get_db(), meeting_id), private=True)


@blueprint.get("/<int:meeting_id>/report.html")
def file(meeting_id: int) -> Response:
    """The report by itself: no link, no number of a row, and no remarks unless they are asked for."""
    item = report(get_db(), meeting_id)
    text = render_template(
        "meetings/report_file.html", report=item, private="remarks" in request.args
    )
    name = f"meeting-{item.meeting.day.isoformat()}.html"
    return Response(
        text,
        content_type="text/html; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "Cache-Control": "no-store",
        },
    )

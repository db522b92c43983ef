"""The Copies screen: make one, take it away, look into one, bring it back."""

from __future__ import annotations

import re
import secrets
from pathlib import Path
from typing import Any

from flask import Blueprint, current_app, request, send_file

from pitapp.copies import away, store
from pitapp.copies.adding.identities import COUNTED, listed
from pitapp.copies.forms import PlainForm, UploadForm
from pitapp.db import get_db
from pitapp.errors import NotThere, Refused
from pitapp.web.clock import present
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import once
from pitapp.web.writes.undo import notice

blueprint = Blueprint("copies", __name__, url_prefix="/copies")
UPLOADED = ".uploaded-{}.sqlite3"
_TOKEN = re.compile(r"[0-9a-f]{16}\Z")


def _data_dir() -> Path:
    folder: Path = current_app.config["PITAPP_DATA_DIR"]
    return folder


@blueprint.get("")
def page() -> Any:
    return _show(UploadForm())


@blueprint.post("")
@once
def make() -> Any:
    path = store.keep_copy(get_db(), _data_dir(), "by-hand", present())
    notice(f"Copied to {path.name}")
    return after_write("copies.page")


@blueprint.get("/<name>")
def download(name: str) -> Any:
    path = store.kept_path(_data_dir(), name)
    if request.method == "GET" and "share" not in request.args:
        away.note_taken(_data_dir(), store.made_at(name))
    return send_file(path, as_attachment=True, download_name=f"pitapp-{name}", max_age=0)


@blueprint.post("/<name>/shared")
@once
def shared(name: str) -> Any:
    """Note that a page has handed this copy to another program of the phone."""
    store.kept_path(_data_dir(), name)
    away.note_taken(_data_dir(), store.made_at(name))
    return after_write("copies.page")


@blueprint.get("/<name>/look")
def look(name: str) -> Any:
    path = store.kept_path(_data_dir(), name)
    return _show_contents(path, f"/copies/{name}", name)


@blueprint.post("/<name>/restore")
@once
def restore(name: str) -> Any:
    return _bring_back(store.kept_path(_data_dir(), name))


@blueprint.post("/uploaded")
def upload() -> Any:
    form = UploadForm()
    if not form.validate_on_submit():
        return _show(form, 422)
    for old in _data_dir().glob(UPLOADED.format("*")):
        store.clear_away(old)
    token = secrets.token_hex(8)
    path = _data_dir() / UPLOADED.format(token)
    try:
        form.file.data.save(path)
        return _show_contents(path, f"/copies/uploaded/{token}", form.file.data.filename)
    except (Refused, OSError) as error:
        path.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise
        form.file.errors = [str(error)]
        return _show(form, 422)


@blueprint.post("/uploaded/<token>/restore")
@once
def restore_uploaded(token: str) -> Any:
    path = _uploaded(token)
    answer = _bring_back(path)
    away.note_taken(_data_dir(), present())  # all that is here now is in that file
    store.clear_away(path)
    return answer


@blueprint.post("/<name>/add")
@once
def add(name: str) -> Any:
    return _add_missing(store.kept_path(_data_dir(), name))


@blueprint.post("/uploaded/<token>/add")
@once
def add_uploaded(token: str) -> Any:
    path = _uploaded(token)
    answer = _add_missing(path)
    store.clear_away(path)
    return answer


def _uploaded(token: str) -> Path:
    path = _data_dir() / UPLOADED.format(token)
    if not _TOKEN.match(token) or not path.is_file():
        raise NotThere("That file is no longer here. Choose it again.")
    return path


def _add_missing(path: Path) -> Any:
    before, added = store.add_missing(get_db(), path, _data_dir(), present())
    away.note_brought(_data_dir(), present())
    what = listed([(many, *COUNTED[table][1:3]) for table, many in added.items()])
    notice(f"Added {what or 'nothing'}. What was here before is kept as {before.name}")
    return after_write("copies.page")


def _bring_back(path: Path) -> Any:
    before = store.restore(get_db(), path, _data_dir(), present())
    away.note_brought(_data_dir(), present())
    notice(f"Brought back. What was here before is kept as {before.name}")
    return after_write("copies.page")


def _show_contents(path: Path, action: str, name: str) -> Any:
    with store.looked_through(path, _data_dir()) as ready:
        contents = ready.contents
        unequal = store.differences(get_db(), ready)
    return show(
        "copies/look.html",
        contents=contents,
        here=store.contents_now(get_db()),
        action=action,
        differences=unequal,
        only_here=listed([(each.only_here, each.singular, each.plural) for each in unequal]),
        only_there=listed([(each.only_there, each.singular, each.plural) for each in unequal]),
        unlike=listed([(each.unlike, each.singular, each.plural) for each in unequal]),
        name=name,
        form=PlainForm(),
    )


def _show(form: UploadForm, status: int = 200) -> Any:
    left = away.moments(_data_dir())
    return show(
        "copies/page.html",
        status,
        form=form,
        kept=store.list_copies(_data_dir()),
        taken_at=left.taken_at,
        behind=away.is_behind(get_db(), left),
    )

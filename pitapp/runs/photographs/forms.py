"""The form of a photograph: scaled down by the page's script, else a small JPEG as it is."""

from __future__ import annotations

from flask_wtf.file import FileField
from wtforms import HiddenField, StringField

from pitapp.runs.photographs.jpeg import Picture, bare_jpeg
from pitapp.runs.photographs.models import MOST_BYTES, picture_in
from pitapp.web.forms.form_errors import PitForm

TOO_LARGE = (
    "Without this page's scripts a photograph is sent as it is, and may have 200 kB at most."
)


class PhotographForm(PitForm):
    """A photograph with a few words; `photo` is what the script made of the file."""

    file = FileField("Photograph")
    photo = HiddenField()
    caption = StringField("Caption", render_kw={"maxlength": 200, "autocomplete": "off"})

    def picture(self) -> Picture | None:
        """The picture that was sent, or None with a sentence at the field."""
        if not self.validate_on_submit():
            return None
        if len(self.caption.data or "") > 200:
            self.caption.errors = ["Keep this under 200 characters."]
            return None
        try:
            chosen = self.file.data
            if not self.photo.data and chosen and chosen.filename:
                data = chosen.stream.read(MOST_BYTES + 1)
                if len(data) > MOST_BYTES:
                    raise ValueError(TOO_LARGE)
                return bare_jpeg(data)
            return picture_in(self.photo.data or "")
        except ValueError as error:
            self.file.errors = [str(error)]
            return None

"""Reading forms: so many fields, so much text in all of them, and a few files at most.

Werkzeug limits each field of a multipart form by itself, and the fields of another kind not at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from typing import IO, Any

from flask import Flask, Request
from werkzeug.datastructures import FileStorage
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.formparser import FormDataParser
from werkzeug.sansio.multipart import Data, Epilogue, Field, File, MultipartDecoder, NeedData

from pitapp.web.http.typed_text import TypedText

AT_ONCE = 64 * 1024
MOST_FILES = 4


class FormParser(FormDataParser):
    """Takes a form apart; too much of it is answered with 413."""

    def _parse_urlencoded(
        self, stream: IO[bytes], mimetype: str, content_length: int | None, options: dict[str, str]
    ) -> Any:
        body = stream.read((self.max_form_memory_size or 0) + 1)
        self._check(len(body), body.count(b"&") + 1)
        return super()._parse_urlencoded(BytesIO(body), mimetype, len(body), options)

    def _parse_multipart(
        self, stream: IO[bytes], mimetype: str, content_length: int | None, options: dict[str, str]
    ) -> Any:
        boundary = options.get("boundary", "").encode("ascii")
        if not boundary:
            raise ValueError("Missing boundary")
        decoder = MultipartDecoder(
            boundary, self.max_form_memory_size, max_parts=self.max_form_parts
        )
        fields: list[tuple[str, str]] = []
        files: list[tuple[str, FileStorage]] = []
        text_bytes = 0
        for event in _events(decoder, stream):
            if isinstance(event, Field | File):
                part, taken = event, self._room_for(event, content_length)
                text_bytes += sum(len(name) + len(value) for name, value in part.headers)
                if isinstance(event, File) and len(files) >= MOST_FILES:
                    raise RequestEntityTooLarge
            elif isinstance(event, Data):
                text_bytes += len(event.data) * isinstance(part, Field)
                taken.write(event.data)
                if not event.more_data:
                    taken.seek(0)
                    if isinstance(part, Field):
                        fields.append((part.name, taken.read().decode("utf-8", "replace")))
                    else:
                        file = FileStorage(taken, part.filename, part.name, headers=part.headers)
                        files.append((part.name, file))
            self._check(text_bytes, 0)
        return stream, self.cls(fields), self.cls(files)

    def _room_for(self, part: Field | File, content_length: int | None) -> IO[bytes]:
        if isinstance(part, Field):
            return BytesIO()
        kind = part.headers.get("content-type")
        return self.stream_factory(content_length, kind, part.filename)

    def _check(self, text_bytes: int, fields: int) -> None:
        if text_bytes > (self.max_form_memory_size or 0) or fields > (self.max_form_parts or 0):
            raise RequestEntityTooLarge


class PitRequest(Request):
    """A request whose form is read so."""

    form_data_parser_class = FormParser
    parameter_storage_class = TypedText


def _events(decoder: MultipartDecoder, stream: IO[bytes]) -> Iterator[Any]:
    while True:
        block = stream.read(AT_ONCE)
        decoder.receive_data(block or None)
        while not isinstance(event := decoder.next_event(), Epilogue | NeedData):
            yield event
        if not block:
            return


def register(app: Flask) -> None:
    """Let the app read forms so."""
    app.request_class = PitRequest

"""Forms: read as Werkzeug reads them, and refused with a sentence where they are too much."""

from __future__ import annotations

import io
from typing import Any

import pytest
from flask import Flask
from hypothesis import given, settings
from hypothesis import strategies as st
from werkzeug.datastructures import ImmutableMultiDict
from werkzeug.formparser import FormDataParser
from werkzeug.test import EnvironBuilder

from pitapp.web.http.bodies import FormParser
from tests.support import PageClient

LIMITS: dict[str, Any] = {
    "max_form_memory_size": 2_000_000,
    "max_content_length": 10_000_000,
    "max_form_parts": 1000,
    "cls": ImmutableMultiDict,
}
NAMES = st.text(
    st.characters(codec="utf-8", exclude_characters='"\\\r\n\0'), min_size=1, max_size=8
)
TEXTS = st.tuples(st.text(max_size=8), st.sampled_from([1, 4_000]))  # all within the limits
FILES = st.tuples(st.binary(max_size=8), st.sampled_from([1, 20_000]))


def taken_apart(parser: type[FormDataParser], form: EnvironBuilder) -> tuple[Any, Any]:
    _, fields, files = parser(**LIMITS).parse_from_environ(form.get_environ())
    kept = [
        (name, file.filename, file.content_type, file.read()) for name, file in files.items(True)
    ]
    return list(fields.items(True)), kept


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(NAMES, TEXTS), max_size=5), st.lists(st.tuples(NAMES, FILES), max_size=3))
def test_a_form_is_read_as_werkzeug_reads_it(
    fields: list[tuple[str, tuple[str, int]]], files: list[tuple[str, tuple[bytes, int]]]
) -> None:
    def form() -> EnvironBuilder:
        built = EnvironBuilder(method="POST")
        for name, (text, times) in fields:
            built.form.add(name, text * times)
        for name, (content, times) in files:
            built.files.add_file(
                name, io.BytesIO(content * times), "file.bin", "application/x-test"
            )
        return built

    assert taken_apart(FormParser, form()) == taken_apart(FormDataParser, form())


def test_a_form_without_boundary_or_cut_off_is_none() -> None:
    for kind in ("multipart/form-data", "multipart/form-data; boundary=b"):
        built = EnvironBuilder(method="POST", content_type=kind, data=b"--b\r\nContent-Dis")
        assert taken_apart(FormParser, built) == ([], [])


PART = b'--b\r\nContent-Disposition: form-data; name="%b"%b\r\n\r\n%b\r\n'
MULTIPART = "multipart/form-data; boundary=b"
URLENCODED = "application/x-www-form-urlencoded"


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        (URLENCODED, b"a&" * 1001),
        (URLENCODED, b"a=" + b"x" * 3_000_000),
        (MULTIPART, PART % (b"a", b"", b"x") * 1001),
        (MULTIPART, PART % (b"a", b"", b"x" * 500_000) * 5),
        (MULTIPART, PART % (b"a" * 500_000, b"", b"x") * 5),
        (MULTIPART, PART % (b"a", b'; filename="f"', b"x") * 5),
        (MULTIPART, PART % (b"a", b'; filename="f"\r\nX-More: ' + b"x" * 1_500_000, b"x") * 2),
    ],
    ids=["fields", "text", "parts", "text of parts", "names", "files", "headers"],
)
def test_too_much_is_refused_with_a_sentence(client: PageClient, kind: str, body: bytes) -> None:
    body += b"--b--\r\n" if kind == MULTIPART else b""
    answer = client.post("/kit/gears", data=body, content_type=kind)
    assert answer.status_code == 413
    assert "Shorten it" in answer.text


def test_as_much_as_a_form_may_hold_is_read(app: Flask, client: PageClient) -> None:
    token = client.csrf_token()
    fields = {f"field-{number}": "x" * 1000 for number in range(900)}
    answer = client.post("/kit/gears", data={"csrf_token": token, "teeth": "20", **fields})
    assert answer.status_code == 422

"""Answers made small on the wire: static files once, pages when they are new."""

from __future__ import annotations

import gzip
import zlib
from functools import lru_cache

from flask import Flask, Response, request

from pitapp.web.memory import Memory

LEAST_BYTES = 600
PAGE_LEVEL = 1
BUNDLE_LEVEL = 9
BUNDLE_BYTES = 30_000
FILE_LEVEL = 9
KEPT_FILES = 200
TEXTS = (
    "text/",
    "application/json",
    "application/manifest+json",
    "application/javascript",
    "image/svg+xml",
)


def packed(body: bytes) -> bytes:
    """The body of an answer: a page is compressed quickly, a larger answer well.

    >>> gzip.decompress(packed(b"gear " * 9)) == b"gear " * 9
    True
    """
    return _page(body) if len(body) < BUNDLE_BYTES else _bundle(body)


@lru_cache(maxsize=64)
def _page(body: bytes) -> bytes:
    return _at(PAGE_LEVEL, body)


@lru_cache(maxsize=4)
def _bundle(body: bytes) -> bytes:
    return _at(BUNDLE_LEVEL, body)


def _at(level: int, body: bytes) -> bytes:
    work = zlib.compressobj(level, zlib.DEFLATED, 31)
    return work.compress(body) + work.flush()


def vary(response: Response, header: str) -> None:
    """Say that the answer depends on a header of the request."""
    held = response.headers.get("Vary")
    response.headers["Vary"] = f"{held}, {header}" if held else header


def register(app: Flask) -> None:
    """Compress texts for whoever accepts it."""
    kept = Memory(KEPT_FILES)

    def static_file(response: Response) -> bytes:
        def small() -> bytes:
            response.direct_passthrough = False
            return gzip.compress(response.get_data(), FILE_LEVEL, mtime=0)

        tag = response.headers.get("ETag")
        found: bytes = kept.of(tag, small) if tag else small()
        return found

    def compress(response: Response) -> Response:
        if not (response.mimetype or "").startswith(TEXTS) or response.status_code == 206:
            return response
        vary(response, "Accept-Encoding")
        size = response.content_length or 0
        if (
            "gzip" not in request.environ.get("HTTP_ACCEPT_ENCODING", "")
            or "Content-Encoding" in response.headers
            or (response.is_streamed and request.endpoint != "static")
            or size < LEAST_BYTES
        ):
            return response
        static = request.endpoint == "static"
        response.set_data(static_file(response) if static else packed(response.get_data()))
        tag, _ = response.get_etag()
        if tag:
            response.set_etag(tag, weak=True)
        response.headers["Content-Encoding"] = "gzip"
        return response

    app.after_request(compress)

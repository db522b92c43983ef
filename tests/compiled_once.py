"""What every app compiles alike, compiled once a process: templates and builders of addresses.

Each test has an app of its own; without this, making one costs .18 s of processor time and its
first page .04 s, with it .06 s and .01 s.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Flask
from jinja2 import BytecodeCache
from jinja2.bccache import Bucket
from werkzeug.routing import Rule


class Templates(BytecodeCache):
    """Compiled templates in memory, by name and by what stands in them."""

    def __init__(self) -> None:
        self.compiled: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        if bucket.key + bucket.checksum in self.compiled:
            bucket.bytecode_from_string(self.compiled[bucket.key + bucket.checksum])

    def dump_bytecode(self, bucket: Bucket) -> None:
        self.compiled[bucket.key + bucket.checksum] = bucket.bytecode_to_string()


class RuleOfAll(Rule):
    """A rule whose builders of addresses are taken from the same rule of an earlier app."""

    builders: dict[object, Callable[..., tuple[str, str]]] = {}  # noqa: RUF012

    def _compile_builder(self, append_unknown: bool = True) -> Any:
        key = (self.rule, append_unknown, repr(self.defaults), tuple(self._trace))
        if key not in self.builders:
            self.builders[key] = super()._compile_builder(append_unknown)
        return self.builders[key]


def share() -> None:
    Flask.jinja_options = {**Flask.jinja_options, "bytecode_cache": Templates()}
    Flask.url_rule_class = RuleOfAll

"""Addresses that are compiled when first wanted are those that Werkzeug's own rules build."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
from werkzeug.routing import BuildError, Map, MapAdapter, Rule

from pitapp import create_app
from pitapp.web.http.addresses import Address

HOST = "pit.example"


def test_every_address_of_the_app_is_what_werkzeug_builds(tmp_path: Path) -> None:
    rules = [rule for rule in create_app(tmp_path).url_map.iter_rules() if not rule.build_only]
    assert sum(isinstance(rule, Address) for rule in rules) > 300
    maps = [Map([made_of(kind, rule) for rule in rules]) for kind in (Address, Rule)]
    ours, theirs = (each.bind(HOST) for each in maps)
    for rule in rules:
        values: dict[str, object] = dict.fromkeys(rule.arguments, 7) | {
            "page of": "a b&c",
            "rule": 7,
        }
        for unknown in (True, False):
            for given in (values, dict.fromkeys(rule.arguments, "seven"), {}):
                expected = built(theirs, rule.endpoint, given, unknown)
                assert built(ours, rule.endpoint, given, unknown) == expected


def made_of(kind: type[Rule], rule: Rule) -> Rule:
    return kind(rule.rule, endpoint=rule.endpoint, methods=rule.methods, defaults=rule.defaults)


def built(addresses: MapAdapter, endpoint: str, values: Mapping[str, object], unknown: bool) -> str:
    try:
        return addresses.build(endpoint, values, append_unknown=unknown)
    except (BuildError, ValueError) as error:
        return type(error).__name__


def test_a_place_that_is_missing_from_an_address_is_an_error(tmp_path: Path) -> None:
    addresses = Map([Address("/runs/<int:run_id>/edit", endpoint="edit")]).bind(HOST)
    assert addresses.build("edit", {"run_id": 3}) == "/runs/3/edit"
    with pytest.raises(BuildError):
        addresses.build("edit", {})

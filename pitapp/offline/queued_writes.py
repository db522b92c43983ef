"""The writes that a phone keeps when no server answers, and where each is shown while it waits."""

from __future__ import annotations

import re
from typing import NamedTuple

from flask import Flask


class Write(NamedTuple):
    """A view that the outbox takes over, and the address that shows its entry, by the view's arguments.

    One that is `judged` waits only where the phone has judged all that goes before it.
    """

    endpoint: str
    then: str
    judged: bool = False


WRITES = (
    Write("gearing.fit", "/gearing"),
    Write("runs.save", "/runs"),
    Write("runs.clock.save", "/runs"),
    Write("runs.photographs.add_to_run", "/runs/{run_id}"),
    Write("runs.photographs.add_to_setup", "/runs/setup"),
    Write("runs.tyres.fit", "/runs/tyres"),
    Write("runs.setup.set_value", "/runs/setup"),
    Write("meetings.done", "/meetings/heats/{heat_id}"),
    Write("meetings.shift", "/meetings/heats/{heat_id}"),
    Write("roll.add_test", "/roll"),
    Write("sound.save_bench", "/sound/bench"),
    Write("sound.save_limit", "/sound/limit"),
    Write("sound.compare", "/sound"),
    Write("sound.passing.save", "/runs"),
    Write("meetings.flag", "/runs/new?heat={heat_id}"),
    Write("meetings.results.save_result", "/meetings/{meeting_id}/results"),
    Write("kit.wear.renew", "/kit/wear"),
    Write("checks.answer", "/checks/walks/{uuid}"),
    Write("packs.add_reading", "/packs/{pack_id}"),
    Write("packs.save_condition", "/packs/{pack_id}"),
    Write("packs.save_storage", "/packs/{pack_id}"),
    Write("packs.put_in", "/packs/{pack_id}"),
    Write("packs.charging.answer", "/packs/{pack_id}"),
    Write("packs.charging.again.answer", "/packs/{pack_id}"),
    Write("packs.charging.start", "/packs/charges/{uuid}", judged=True),
    Write("packs.charging.longer", "/packs/charges/{uuid}"),
    Write("packs.charging.end", "/packs/charges/{uuid}"),
)
ARGUMENT = re.compile(r"<(?:\w+:)?(\w+)>")


def rules(app: Flask) -> list[dict[str, str | bool]]:
    """Each write's address as a pattern for the worker, with where it is shown."""
    writes = {each.endpoint: each for each in WRITES}
    return [
        {"match": pattern(rule.rule), "then": queued.then}
        | ({"judged": True} if queued.judged else {})
        for rule in app.url_map.iter_rules()
        if (queued := writes.get(rule.endpoint)) and "POST" in (rule.methods or ())
    ]


def pattern(rule: str) -> str:
    """A route's rule as a regular expression that names its arguments, as the worker reads it.

    >>> pattern("/packs/<int:pack_id>/reading")
    '^/packs/(?<pack_id>[^/]+)/reading$'
    """
    return "^" + ARGUMENT.sub(r"(?<\1>[^/]+)", rule) + "$"

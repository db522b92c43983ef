"""The screens of a charge by steps, in the order of the hand, with every word on them.

The pack is looked at, lies where it will be charged and is plugged in before a charger shows anything.

A step names the source of its figures, read in the issuing body's own pages; where it names none it
is a rule of thumb. A pack's and a charger's manual and the venue's rules come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["yesno", "warmth", "cells", "program"]


@dataclass(frozen=True)
class ChargeStep:
    """The screen of one step: what to do, the two answers, and what a "no" means."""

    key: str
    title: str
    todo: tuple[str, ...]
    kind: Kind = "yesno"
    yes: str = ""
    no: str = ""
    refusal: str = ""
    source: str = ""


STEPS = (
    ChargeStep(
        "look",
        "Look at it",
        ("No swelling, dent, cut or torn wrap?", "Leads and plugs whole, nothing scorched?"),
        yes="Looks sound",
        no="Something is wrong",
        refusal="The pack looks wrong. Do not charge it.",
        source="Swollen or damaged, neither use nor charge it: US Fire Administration; Scottish Fire "
        "and Rescue Service.",
    ),
    ChargeStep(
        "feel",
        "Feel it",
        ("Flat and firm all over, no soft or raised spot?", "No sweet smell?"),
        yes="Feels sound",
        no="Something is wrong",
        refusal="The pack feels or smells wrong. Do not charge it.",
    ),
    ChargeStep(
        "warmth",
        "Take its temperature",
        ("After a run wait until it is as cool as the air around it, however long that takes.",),
        kind="warmth",
    ),
    ChargeStep(
        "label",
        "Read the label",
        (),
        yes="The label says so",
        no="It says something else",
        refusal="The label says something else. Correct the pack's record first.",
    ),
    ChargeStep(
        "place",
        "Safe place",
        (
            "On stone or metal, or in a bag made for charging.",
            "Nothing that burns within about 1\u00a0m. Not in the car, not on the way out.",
        ),
        yes="It is in a safe place",
        no="Not yet",
        refusal="The pack is not in a fire-safe place yet.",
    ),
    ChargeStep(
        "balance",
        "Plug it in",
        (
            "Main lead: into the charger first, then the pack, plus to plus.",
            "Balance lead: into the charger, the right way round.",
            "No bare or pinched wire?",
        ),
        yes="Both are in",
        no="Not both",
        refusal="Not both leads are in. Without the balance lead no charger sees a single cell run over.",
    ),
    ChargeStep(
        "cells",
        "Measure each cell",
        ("Resting voltages, from the charger's screen or a meter.",),
        kind="cells",
        source="A cell is full at 4.2 V and not to be used under 3 V: University of Washington, "
        "Environmental Health & Safety. 3 V has a margin in it. 4.25 V: our own margin.",
    ),
    ChargeStep(
        "program",
        "Set the charger",
        ("Set the program for this kind of cell.", "Type what the screen shows now."),
        kind="program",
    ),
    ChargeStep(
        "stay",
        "Somebody stays",
        (
            "Stay in sight of it until it is off the charger.",
            "Going? Take it off first. A bag or a box does not stand in for you.",
        ),
        yes="Somebody stays",
        no="Nobody can",
        refusal="Nobody stays with it. Charge when somebody can.",
        source="Always be present when charging: US Consumer Product Safety Commission, "
        "4 September 2025.",
    ),
)
BY_KEY = {step.key: step for step in STEPS}

"""What a run-through says: each answer judged, where to go on, the verdict, and when it is stale.

The cautions before a charge are walked and judged by it too. Pure: no clock, no database.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from pitapp.checks.models import TOPICS, Answer, Asked, Controller, Step, Walk
from pitapp.record import Record

NEAR = 1e-9
LEAST_REASON_WORDS = 2
OF_A_CONTROLLER = ("rev_limit", "timing")

Found = Literal["outside", "different", "changed", "skipped", "early"]


class Judged(Record):
    """A step with its answer and everything that is remarkable about it."""

    step: Step
    answer: Answer | None = None
    found: tuple[Found, ...] = ()

    @property
    def shown(self) -> str:
        """What was read, or nothing."""
        return self.answer.shown if self.answer else ""

    @property
    def planned(self) -> str:
        """What was planned when it was read, or nothing."""
        return self.answer.planned if self.answer else ""

    @property
    def asked(self) -> Asked | None:
        """What the class asked when it was read."""
        return self.answer.asked if self.answer else None

    @property
    def unit(self) -> str:
        """The unit in which it was read."""
        return self.answer.unit if self.answer else self.step.unit

    @property
    def stopped(self) -> bool:
        """Whether the run-through may not go on from here: outside the class, and no reason given."""
        if self.step.firm:
            return bool(self.found)
        return "outside" in self.found and not enough(self.answer.reason if self.answer else "")

    @property
    def settled(self) -> bool:
        """Whether there is nothing more to do at this step."""
        return self.answer is not None and self.answer.answered_at is not None and not self.stopped


class Verdict(Record):
    """What a run-through comes to. `legal` is None where there was nothing to judge it by."""

    legal: bool | None
    outside: tuple[Judged, ...]
    unread: tuple[Judged, ...]
    different: tuple[Judged, ...]
    changed: tuple[Judged, ...]
    skipped: tuple[Judged, ...]
    early: tuple[Judged, ...]


def number_of(text: str) -> float | None:
    """The number that a stored reading is, or None where it is words.

    >>> number_of("14600"), number_of("off")
    (14600.0, None)
    """
    try:
        return float(text)
    except ValueError:
        return None


def same(one: str, other: str) -> bool:
    """Whether two readings are the same: as numbers where both are, else as words.

    >>> same("7.40", "7.4"), same("Off", "off"), same("5", "off")
    (True, True, False)
    """
    first, second = number_of(one), number_of(other)
    if first is not None and second is not None:
        return abs(first - second) <= NEAR * max(1.0, abs(first), abs(second))
    return one.strip().casefold() == other.strip().casefold()


def allows(asked: Asked, text: str) -> bool:
    """Whether a reading is inside what the class asks; words never are.

    >>> allows(Asked(most=14600), "14600"), allows(Asked(most=14600), "14700")
    (True, False)
    """
    value = number_of(text)
    if value is None:
        return False
    slack = NEAR * max(1.0, abs(value))
    return (asked.least is None or value >= asked.least - slack) and (
        asked.most is None or value <= asked.most + slack
    )


def enough(reason: str) -> bool:
    """Whether a reason says something: two words at least, with letters in them.

    >>> enough("official allowed it"), enough("ok"), enough("- . !")
    (True, False, False)
    """
    words = [word for word in reason.split() if sum(map(str.isalpha, word)) >= 2]
    return len(words) >= LEAST_REASON_WORDS


def judge(step: Step, answer: Answer | None) -> Judged:
    """Everything remarkable about an answer."""
    if answer is None or answer.answered_at is None:
        return Judged(step=step, answer=answer)
    found: list[Found] = []
    if answer.skipped:
        found.append("skipped")
    else:
        if answer.asked is not None and not allows(answer.asked, answer.shown):
            found.append("outside")
        if answer.planned and not same(answer.shown, answer.planned):
            found.append("different")
        if answer.last_shown and not same(answer.shown, answer.last_shown):
            found.append("changed")
        if step.wait_s is not None and waited_s(answer) < step.wait_s:
            found.append("early")
    return Judged(step=step, answer=answer, found=tuple(found))


def waited_s(answer: Answer) -> float:
    """How long a timed step was given: from the timer's start to the answer, in seconds."""
    if answer.began_at is None or answer.answered_at is None:
        return 0.0
    return (answer.answered_at - answer.began_at).total_seconds()


def judge_all(steps: Sequence[Step], answers: Iterable[Answer]) -> list[Judged]:
    """Every step in order, judged by its answer."""
    by_step = {answer.step_id: answer for answer in answers}
    return [judge(step, by_step.get(step.id)) for step in steps]


def first_open(judged: Sequence[Judged]) -> Judged | None:
    """The step where the run-through goes on, or None when every one is settled."""
    return next((each for each in judged if not each.settled), None)


def verdict(judged: Sequence[Judged]) -> Verdict:
    """What the run-through comes to.

    Legal: every reading that the class limits was taken and is inside. Not legal: one is outside,
    whatever the reason. Neither: nothing was limited, or a limited reading is missing.
    """

    def those(name: Found) -> tuple[Judged, ...]:
        return tuple(each for each in judged if name in each.found)

    asked = [each for each in judged if each.asked is not None]
    unread = tuple(each for each in asked if each.answer and not read(each.answer))
    outside = those("outside")
    legal = False if outside else (None if unread or not asked else True)
    return Verdict(
        legal=legal,
        outside=outside,
        unread=unread,
        different=those("different"),
        changed=those("changed"),
        skipped=those("skipped"),
        early=those("early"),
    )


def unlisted(steps: Iterable[Step], asks: Mapping[str, Asked]) -> list[str]:
    """What the class asks of a controller and no step reads, by its name."""
    keys = {step.key for step in steps}
    return [TOPICS[topic].name for topic in OF_A_CONTROLLER if topic in asks and topic not in keys]


def read(answer: Answer) -> bool:
    """Whether something was read at the step."""
    return answer.answered_at is not None and not answer.skipped


def reasons_due(
    walk: Walk | None,
    answers: Iterable[Answer],
    steps: Sequence[Step],
    *,
    controller: Controller,
    motor_id: int | None,
    race_class_id: int | None,
    asks: Mapping[str, Asked],
) -> list[str]:
    """Why a controller's run-through is due, as sentences; none while the last one still stands.

    Args:
        walk: the car's last ended run-through of any controller's settings.
        answers: what was answered in it.
        steps: the settings of the controller now in the car, as planned now.
        controller: the one now in the car.
        motor_id: the motor now in the car.
        race_class_id: the class raced under now.
        asks: what that class asks, by a step's key.
    """
    if walk is None:
        return ["No run-through yet."]
    if walk.controller_id != controller.id:
        return ["Another controller is in the car."]
    due = []
    if walk.motor_id != motor_id:
        due.append("Another motor is in the car.")
    if walk.race_class_id != race_class_id:
        due.append("Another class is raced.")
    if walk.firmware.casefold() != controller.firmware.casefold():
        due.append(f"Firmware noted as {controller.firmware or 'unknown'}.")
    by_step = {answer.step_id: answer for answer in answers}
    for step in steps:
        answer = by_step.get(step.id)
        if answer is None:
            due.append(f"{step.name} is new in the list.")
        elif plan_changed(step, answer):
            due.append(f"The plan of {step.name} changed.")
        elif walk.race_class_id == race_class_id and asks.get(step.key) != answer.asked:
            due.append(f"The class asks otherwise of {step.name}.")
    return due


def plan_changed(step: Step, answer: Answer) -> bool:
    """Whether something else is planned now than was then, and than was found."""
    return bool(
        step.planned
        and not same(step.planned, answer.planned)
        and not (read(answer) and same(step.planned, answer.shown))
    )


def plan_from(judged: Iterable[Judged]) -> dict[int, str]:
    """What was read, as a plan by the step's id, where it is legal and not planned already."""
    return {
        each.step.id: each.shown
        for each in judged
        if each.answer
        and read(each.answer)
        and "outside" not in each.found
        and each.step.kind != "do"
        and (each.step.kind, each.shown) != ("yesno", "no")
        and not same(each.shown, each.step.planned)
    }

"""What a run-through says: each answer judged, where to go on, the verdict, and when it is stale.

The cautions before a charge are walked and judged by it too. Pure: no clock, no database.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from pitapp.checks.models import TOPICS, Answer, ChecklistRun, Controller, Limit, Step
from pitapp.record import Record

NEAR = 1e-9
LEAST_REASON_WORDS = 2
OF_A_CONTROLLER = ("rev_limit", "timing")

Problem = Literal["outside", "different", "changed", "skipped", "early"]


class StepResult(Record):
    """A step with its answer and everything that is remarkable about it."""

    step: Step
    answer: Answer | None = None
    problems: tuple[Problem, ...] = ()

    @property
    def shown(self) -> str:
        """What was read, or nothing."""
        return self.answer.shown if self.answer else ""

    @property
    def planned(self) -> str:
        """What was planned when it was read, or nothing."""
        return self.answer.planned if self.answer else ""

    @property
    def limit(self) -> Limit | None:
        """What the class asked when it was read."""
        return self.answer.limit if self.answer else None

    @property
    def unit(self) -> str:
        """The unit in which it was read."""
        return self.answer.unit if self.answer else self.step.unit

    @property
    def stopped(self) -> bool:
        """Whether the run-through may not go on from here: outside the class, and no reason given."""
        if self.step.firm:
            return bool(self.problems)
        return "outside" in self.problems and not is_reason(
            self.answer.reason if self.answer else ""
        )

    @property
    def barred(self) -> bool:
        """Whether it may not be skipped: what was read there is outside the class, reason or none."""
        return self.stopped or "outside" in self.problems

    @property
    def settled(self) -> bool:
        """Whether there is nothing more to do at this step."""
        return self.answer is not None and self.answer.answered_at is not None and not self.stopped


class Verdict(Record):
    """Result of a run-through. `legal` is None where there was nothing to judge it by."""

    legal: bool | None
    outside: tuple[StepResult, ...]
    unread: tuple[StepResult, ...]
    different: tuple[StepResult, ...]
    changed: tuple[StepResult, ...]
    skipped: tuple[StepResult, ...]
    early: tuple[StepResult, ...]


def number_of(text: str) -> float | None:
    """The number that a stored reading is, or None where it is words.

    >>> number_of("14600"), number_of("off")
    (14600.0, None)
    """
    try:
        return float(text)
    except ValueError:
        return None


def same(text: str, other: str) -> bool:
    """Whether two readings are the same: as numbers where both are, else as words.

    >>> same("7.40", "7.4"), same("Off", "off"), same("5", "off")
    (True, True, False)
    """
    first, second = number_of(text), number_of(other)
    if first is not None and second is not None:
        return abs(first - second) <= NEAR * max(1.0, abs(first), abs(second))
    return text.strip().casefold() == other.strip().casefold()


def within_limit(limit: Limit, text: str) -> bool:
    """Whether a reading is inside what the class asks; words never are.

    >>> within_limit(Limit(most=14600), "14600"), within_limit(Limit(most=14600), "14700")
    (True, False)
    """
    value = number_of(text)
    if value is None:
        return False
    slack = NEAR * max(1.0, abs(value))
    return (limit.least is None or value >= limit.least - slack) and (
        limit.most is None or value <= limit.most + slack
    )


def is_reason(reason: str) -> bool:
    """Whether a reason says something: two words at least, with letters in them.

    >>> is_reason("official allowed it"), is_reason("ok"), is_reason("- . !")
    (True, False, False)
    """
    words = [word for word in reason.split() if sum(map(str.isalpha, word)) >= 2]
    return len(words) >= LEAST_REASON_WORDS


def judge(step: Step, answer: Answer | None) -> StepResult:
    """Everything remarkable about an answer."""
    if answer is None or answer.answered_at is None:
        return StepResult(step=step, answer=answer)
    problems: list[Problem] = []
    if answer.skipped:
        problems.append("skipped")
    else:
        if answer.limit is not None and not within_limit(answer.limit, answer.shown):
            problems.append("outside")
        if answer.planned and not same(answer.shown, answer.planned):
            problems.append("different")
        if answer.last_shown and not same(answer.shown, answer.last_shown):
            problems.append("changed")
        if step.wait_s is not None and waited_s(answer) < step.wait_s:
            problems.append("early")
    return StepResult(step=step, answer=answer, problems=tuple(problems))


def waited_s(answer: Answer) -> float:
    """How long a timed step was given: from the timer's start to the answer, in seconds."""
    if answer.began_at is None or answer.answered_at is None:
        return 0.0
    return (answer.answered_at - answer.began_at).total_seconds()


def judge_all(steps: Sequence[Step], answers: Iterable[Answer]) -> list[StepResult]:
    """Every step in order, judged by its answer."""
    by_step = {answer.step_id: answer for answer in answers}
    return [judge(step, by_step.get(step.id)) for step in steps]


def first_open(results: Sequence[StepResult]) -> StepResult | None:
    """The step where the run-through goes on, or None when every one is settled."""
    return next((each for each in results if not each.settled), None)


def verdict(results: Sequence[StepResult]) -> Verdict:
    """Judge an ended run-through.

    Legal: every reading that the class limits was taken and is inside. Not legal: one is outside,
    whatever the reason. Neither: nothing was limited, or a limited reading is missing.
    """

    def those(name: Problem) -> tuple[StepResult, ...]:
        return tuple(each for each in results if name in each.problems)

    limited = [each for each in results if each.limit is not None]
    unread = tuple(each for each in limited if each.answer and not read(each.answer))
    outside = those("outside")
    legal = False if outside else (None if unread or not limited else True)
    return Verdict(
        legal=legal,
        outside=outside,
        unread=unread,
        different=those("different"),
        changed=those("changed"),
        skipped=those("skipped"),
        early=those("early"),
    )


def unlisted(steps: Iterable[Step], limits: Mapping[str, Limit]) -> list[str]:
    """What the class asks of a controller and no step reads, by its name."""
    keys = {step.key for step in steps}
    return [
        TOPICS[topic].name for topic in OF_A_CONTROLLER if topic in limits and topic not in keys
    ]


def read(answer: Answer) -> bool:
    """Whether something was read at the step."""
    return answer.answered_at is not None and not answer.skipped


def reasons_due(
    walk: ChecklistRun | None,
    answers: Iterable[Answer],
    steps: Sequence[Step],
    *,
    controller: Controller,
    motor_id: int | None,
    race_class_id: int | None,
    limits: Mapping[str, Limit],
    firmware: str | None = None,
    profile_id: int | None = None,
) -> list[str]:
    """Why a controller's run-through is due, as sentences; none while the last one still stands.

    Args:
        walk: the car's last ended run-through of any controller's settings.
        answers: the newest at each setting: of it and of those before it, back to the last of all settings.
        steps: the settings of the controller now in the car, as planned now.
        controller: the one now in the car.
        motor_id: the motor now in the car.
        race_class_id: the class raced under now.
        limits: what that class asks, by a step's key.
        profile_id: the controller's profile in use; None for its first.
        firmware: as it was when more than the legal settings were gone through; None: as in `walk`.
    """
    if walk is None:
        return ["No run-through yet."]
    if walk.controller_id != controller.id:
        return ["Another controller is in the car."]
    due = []
    if walk.motor_id != motor_id:
        due.append("Another motor is in the car.")
    if walk.race_class_id != race_class_id:
        due.append("You race another class now.")
    if walk.profile_id != profile_id:
        due.append("Another profile is in use.")
    noted = walk.firmware if firmware is None else firmware
    if noted.casefold() != controller.firmware.casefold():
        due.append(f"Firmware noted as {controller.firmware or 'unknown'}.")
    by_step = {answer.step_id: answer for answer in answers}
    for step in steps:
        answer = by_step.get(step.id)
        if answer is None:
            if walk.scope == "all":
                due.append(f"{step.name} is new in the list.")
            elif step.key in limits:
                due.append(f"{step.name} was not read.")
        elif plan_changed(step, answer):
            due.append(f"The plan of {step.name} changed.")
        elif walk.race_class_id == race_class_id and limits.get(step.key) != answer.limit:
            due.append(f"The class limit of {step.name} changed.")
    return due


def plan_changed(step: Step, answer: Answer) -> bool:
    """Whether something else is planned now than was then, and than was found."""
    return bool(
        step.planned
        and not same(step.planned, answer.planned)
        and not (read(answer) and same(step.planned, answer.shown))
    )


def plan_from(results: Iterable[StepResult]) -> dict[int, str]:
    """Readings to plan with, by step id: legal ones that differ from the plan."""
    return {
        each.step.id: each.shown
        for each in results
        if each.answer
        and read(each.answer)
        and "outside" not in each.problems
        and each.step.kind != "do"
        and (each.step.kind, each.shown) != ("yesno", "no")
        and not same(each.shown, each.step.planned)
    }


def defaults_from(results: Iterable[StepResult]) -> dict[int, str]:
    """Readings to note as the maker's defaults, by step id: those that differ from what is noted."""
    return {
        each.step.id: each.shown
        for each in results
        if each.answer
        and read(each.answer)
        and each.step.kind != "do"
        and not (each.step.maker_default and same(each.shown, each.step.maker_default))
    }

"""What the screens of a run-through show: one step with all that belongs to it, or the verdict."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from pitapp.checks import after_heat, store
from pitapp.checks.context import RunContext
from pitapp.checks.engine import (
    StepResult,
    Verdict,
    first_open,
    judge_all,
    plan_from,
    unlisted,
    verdict,
    within_limit,
)
from pitapp.checks.forms import AnswerForm
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Answer, ChecklistRun, Limit, Step


def look_up(
    connection: sqlite3.Connection, walk: ChecklistRun, at: Step | None = None
) -> tuple[list[Step], list[StepResult]]:
    """The steps of a run-through and what was found: an ended one keeps the steps that it had."""
    if walk.ended_at is None:
        steps = lists.steps(connection, walk.checklist_id)
    else:
        steps = lists.steps_answered(connection, walk.id)
    if at is not None and at.id not in [each.id for each in steps]:
        steps.append(at)
    if walk.id > 0:
        answers = store.answers(connection, walk.id)
    else:
        answers = after_heat.answers_from_log(connection, walk, steps)
    return steps, judge_all(steps, answers)


@dataclass(frozen=True)
class StepView:
    """One step of a run-through."""

    result: StepResult
    sent: AnswerForm | None
    number: int
    total: int
    previous_id: int | None
    limit: Limit | None
    last: Answer | None
    signal: str
    begun: bool

    @classmethod
    def of(
        cls,
        connection: sqlite3.Connection,
        walk: ChecklistRun,
        context: RunContext,
        results: Sequence[StepResult],
        at: Step | None = None,
        form: AnswerForm | None = None,
    ) -> StepView | None:
        """The step `at`, or where the run-through goes on; None when it does not go on."""
        current = (
            next(each for each in results if each.step.id == at.id) if at else first_open(results)
        )
        if current is None:
            return None
        place = [each.step.id for each in results].index(current.step.id)
        step = current.step
        return cls(
            result=current,
            sent=form,
            number=place + 1,
            total=len(results),
            previous_id=results[place - 1].step.id if place and walk.id else None,
            limit=context.limits.get(step.key),
            last=store.last_shown(connection, walk, step),
            signal=context.controller.signal_text
            if context.controller and step.topic == "signal"
            else "",
            begun=walk.id > 0,
        )

    @property
    def step(self) -> Step:
        """The step itself."""
        return self.result.step

    @cached_property
    def form(self) -> AnswerForm:
        """The form as it was sent, else an empty one."""
        return self.sent or AnswerForm.of(self.step)

    @property
    def expected(self) -> str:
        """What one tap confirms: the plan; for a yes or no without one, a yes."""
        return self.step.planned or {"do": "done", "yesno": "yes"}.get(self.step.kind, "")

    @property
    def plan_outside(self) -> bool:
        """Whether the plan itself is outside the class."""
        if not self.step.planned or self.limit is None:
            return False
        return not within_limit(self.limit, self.step.planned)

    @property
    def wait_over(self) -> datetime | None:
        """When the wait of a timed step is over, if its timer runs."""
        answer = self.result.answer
        if self.step.wait_s is None or answer is None or answer.began_at is None:
            return None
        return answer.began_at + timedelta(seconds=self.step.wait_s)


@dataclass(frozen=True)
class VerdictView:
    """The screen of an ended run-through: verdict and answers."""

    results: Sequence[StepResult]
    walk: ChecklistRun
    context: RunContext

    @property
    def unlisted(self) -> list[str]:
        """What the class asks of the controller and its list does not read."""
        same_class = (
            self.context.race_class and self.context.race_class.id == self.walk.race_class_id
        )
        if not same_class or self.walk.controller_id is None:
            return []
        return unlisted([each.step for each in self.results], self.context.limits)

    @property
    def verdict(self) -> Verdict:
        """The verdict."""
        return verdict(self.results)

    @property
    def level(self) -> str:
        """Good, look or stop."""
        result = self.verdict
        if result.legal is False:
            return "stop"
        remarkable = (
            result.different or result.unread or result.early or self.unlike or self.unlisted
        )
        return "look" if remarkable else "good"

    @property
    def unlike(self) -> tuple[StepResult, ...]:
        """What should be as planned and is not, on a list that no class limits."""
        return tuple(
            each for each in self.results if each.step.kind == "yesno" and each.shown == "no"
        )

    @property
    def can_be_planned(self) -> bool:
        """Whether something was read that is not planned so."""
        return bool(plan_from(self.results))

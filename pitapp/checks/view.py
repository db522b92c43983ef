"""What the screens of a run-through show: one step with all that belongs to it, or the verdict."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from pitapp.checks import after_heat, store, this_heat
from pitapp.checks.context import RunContext
from pitapp.checks.controllers.profiles import store as profile_store
from pitapp.checks.controllers.profiles.formulas import OtherPlan, looks_like
from pitapp.checks.engine import (
    StepResult,
    Verdict,
    defaults_from,
    first_open,
    judge_all,
    plan_from,
    unlisted,
    verdict,
    within_limit,
)
from pitapp.checks.forms import AnswerForm
from pitapp.checks.lists import store as lists
from pitapp.checks.models import SCOPE_NAMES, Answer, ChecklistRun, Limit, Step
from pitapp.checks.scope import in_scope


def look_up(
    connection: sqlite3.Connection,
    walk: ChecklistRun,
    limits: Mapping[str, Limit],
    at: Step | None = None,
    *,
    anew: bool = False,
) -> tuple[list[Step], list[StepResult]]:
    """The steps of a run-through and what was found: an ended one keeps the steps that it had.

    One that is not begun yet knows what was read for this heat, unless it is begun `anew`.
    """
    if walk.ended_at is None:
        listed = lists.steps(connection, walk.checklist_id, walk.profile_id)
        steps = in_scope(listed, walk.scope, limits)
    else:
        steps = lists.steps_answered(connection, walk.id, walk.profile_id)
    if at is not None and at.id not in [each.id for each in steps]:
        steps.append(at)
    if walk.id > 0:
        answers = store.answers(connection, walk.id)
    else:
        answers = after_heat.answers_from_log(connection, walk, steps)
        if not anew:
            answers += this_heat.answers_of_this_heat(connection, walk, steps, limits)
    return steps, judge_all(steps, answers)


def other_plans(
    connection: sqlite3.Connection, walk: ChecklistRun, context: RunContext
) -> list[OtherPlan]:
    """What the other profiles of a controller plan than the one that a run-through goes by."""
    if walk.controller_id is None or context.controller is None or len(context.profiles) < 2:
        return []
    return profile_store.others(connection, context.controller, walk.profile_id)


def profile_title(walk: ChecklistRun, context: RunContext) -> str:
    """By which profile's plan a run-through goes, where its controller holds several."""
    if walk.controller_id is None or len(context.profiles) < 2:
        return ""
    return next((p.title for p in context.profiles if p.plan_id == walk.profile_id), "")


def step_address(walk: ChecklistRun, step_id: int) -> str:
    """Where a step of a run-through is shown and answered."""
    return f"/checks/walks/{walk.uuid}/steps/{step_id}{walk.query}"


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
    walk: ChecklistRun
    others: Sequence[OtherPlan] = ()
    """What the controller's other profiles plan."""
    profile: str = ""
    """By which profile's plan it is walked, where the controller holds several."""
    more_of_group: bool = False
    """Whether a step after it belongs to the same group."""
    known: str = ""
    """The ids of the steps that a run-through which is not begun yet need not ask for."""

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
        step, known = current.step, _known(walk, results, form)
        begun = walk.id and not known
        return cls(
            result=current,
            sent=form,
            number=place + 1,
            total=len(results),
            previous_id=results[place - 1].step.id if place and begun else None,
            limit=context.limits.get(step.key),
            last=store.last_shown(connection, walk, step),
            signal=context.controller.signal_text
            if context.controller and step.topic == "signal"
            else "",
            begun=walk.id > 0,
            walk=walk,
            others=other_plans(connection, walk, context),
            profile=profile_title(walk, context),
            more_of_group=bool(step.group_name)
            and any(each.step.group_name == step.group_name for each in results[place + 1 :]),
            known=known,
        )

    @property
    def step(self) -> Step:
        """The step itself."""
        return self.result.step

    @property
    def address(self) -> str:
        """Where it is shown and answered."""
        return step_address(self.walk, self.step.id)

    @property
    def back(self) -> str:
        """Where the step before it is shown; empty at the first."""
        return step_address(self.walk, self.previous_id) if self.previous_id else ""

    @cached_property
    def form(self) -> AnswerForm:
        """The form as it was sent, else an empty one."""
        return self.sent or AnswerForm.of(self.step)

    @property
    def expected(self) -> str:
        """What one tap confirms: the plan; for a yes or no without one, a yes."""
        return self.step.planned or {"do": "done", "yesno": "yes"}.get(self.step.kind, "")

    @property
    def like(self) -> str:
        """The other profile that what was read looks like; empty where it looks like none."""
        profile = looks_like(self.step, self.result.shown, self.others)
        return profile.title if profile else ""

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


def _known(walk: ChecklistRun, results: Sequence[StepResult], form: AnswerForm | None) -> str:
    if form is not None:
        return form.known.data or ""
    settled = [str(each.step.id) for each in results if each.settled and not walk.id]
    return " ".join(settled)


@dataclass(frozen=True)
class VerdictView:
    """The screen of an ended run-through: verdict and answers."""

    results: Sequence[StepResult]
    walk: ChecklistRun
    context: RunContext
    settings: Sequence[Step] = ()
    """Every setting of the controller now."""
    others: Sequence[OtherPlan] = ()
    """What the controller's other profiles plan."""

    def like(self, result: StepResult) -> str:
        """The other profile that what was read looks like; empty where it looks like none."""
        profile = looks_like(result.step, result.shown, self.others)
        return profile.title if profile else ""

    @property
    def part(self) -> str:
        """Which of the settings were gone through, and how many; empty where it was all."""
        if self.walk.scope == "all":
            return ""
        return (
            f"{SCOPE_NAMES[self.walk.scope]}: {len(self.results)} of {len(self.settings)} settings"
        )

    @property
    def others_left(self) -> int:
        """How many settings of the controller this run-through of some did not come to."""
        return len(self.settings) - len(self.results) if self.walk.scope != "all" else 0

    @property
    def passed_over(self) -> list[str]:
        """What the class limits and this run-through of some settings did not come to."""
        if self.walk.scope == "all" or not self._same_class:
            return []
        read = {each.step.id for each in self.results}
        limits = self.context.limits
        return [each.name for each in self.settings if each.key in limits and each.id not in read]

    @property
    def _same_class(self) -> bool:
        race_class = self.context.race_class
        return race_class is not None and race_class.id == self.walk.race_class_id

    @property
    def unlisted(self) -> list[str]:
        """What the class asks of the controller and its list does not read."""
        if not self._same_class or self.walk.controller_id is None:
            return []
        steps = [each.step for each in self.results]
        return unlisted([*steps, *self.settings], self.context.limits)

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
            any(each.step.required for each in result.skipped)
            or result.different
            or result.unread
            or result.early
            or self.unlike
            or self.unlisted
            or self.passed_over
        )
        return "look" if remarkable else "good"

    @property
    def unlike(self) -> tuple[StepResult, ...]:
        """What should be as planned and is not, on a list that no class limits."""
        return tuple(
            each for each in self.results if each.step.kind == "yesno" and each.shown == "no"
        )

    @property
    def can_be_defaults(self) -> bool:
        """Whether something was read that is not noted as the maker's default."""
        return bool(defaults_from(self.results))

    @property
    def can_be_planned(self) -> bool:
        """Whether something was read that is not planned so."""
        return bool(plan_from(self.results))

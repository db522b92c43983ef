"""Controllers, checklists, run-throughs and what was answered in them."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, NamedTuple

from pydantic import Field, model_validator

from pitapp.dates import Moment
from pitapp.record import Record

Name = Annotated[str, Field(min_length=1, max_length=60)]
Sentence = Annotated[str, Field(max_length=300)]
Reading = Annotated[str, Field(max_length=200)]
Uuid = Annotated[str, Field(pattern=r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")]
Kind = Literal["do", "yesno", "number", "choice", "text"]
KIND_NAMES: dict[str, str] = {
    "do": "a task",
    "yesno": "yes or no",
    "number": "a number",
    "choice": "a choice",
    "text": "text",
}
Scope = Literal["all", "legal", "planned", "reset"]
SCOPE_NAMES: dict[Scope, str] = {
    "all": "All settings",
    "legal": "Needed to race",
    "planned": "Planned only",
    "reset": "After a reset or update",
}
Occasion = Literal["settings", "meeting", "heat", "scrutineering", "after", "end", "other"]
OCCASION_NAMES: dict[str, str] = {
    "settings": "Controller's settings",
    "meeting": "Before the meeting",
    "heat": "Before a heat",
    "scrutineering": "Before scrutineering",
    "after": "Straight after a heat",
    "end": "End of the day",
    "other": "Any time",
}


class Topic(NamedTuple):
    """What a class may limit or the log asks, and a step may read: its name and its unit."""

    name: str
    unit: str


TOPICS: dict[str, Topic] = {
    "rev_limit": Topic("Rev limit", "rpm"),
    "timing": Topic("Controller timing advance", "°"),
    "motor_timing": Topic("Motor timing", "°"),
    "mass": Topic("Weight", "g"),
    "start_v": Topic("Start voltage", "V"),
    "capacity": Topic("Pack capacity", "mAh"),
    "ride_height": Topic("Ride height", "mm"),
    "signal": Topic("Rev-limit LED signal", ""),
    "can_c": Topic("Can temperature in the log", "°C"),
    "read_after_s": Topic("Seconds after the flag in the log", "s"),
    "log": Topic("The log of the run", ""),
}


class Controller(Record):
    """An electronic speed controller; `signal_text` is how it shows its rev limit, as its owner saw.

    `profile_name` and `profile_class_id` are its first profile's.
    """

    id: int = 0
    name: Name
    firmware: str = Field("", max_length=60)
    signal_text: str = Field("", max_length=120)
    remarks: str = Field("", max_length=2000)
    profile_name: str = Field("", max_length=40)
    profile_class_id: int | None = None
    version: int = 1


class Profile(Record):
    """One of the profiles that a controller holds; 0 is its first, whose plan stands at its settings.

    Racing the class that it goes with, it is the one in use, else where it was `chosen`.
    """

    id: int = 0
    controller_id: int = 0
    number: int = Field(1, ge=1)
    name: str = Field("", max_length=40)
    race_class_id: int | None = None
    chosen: bool = False
    version: int = 1

    @property
    def plan_id(self) -> int | None:
        """Under which its plan is kept; None for the first."""
        return self.id or None

    @property
    def title(self) -> str:
        """Its number, and its name where it has one."""
        return f"Profile {self.number}" + (f", {self.name}" if self.name else "")


class ProfilePlan(Record):
    """What a profile plans at a setting."""

    planned: Reading = ""


class Checklist(Record):
    """An ordered list of steps; one with a `controller_id` holds that controller's settings."""

    id: int = 0
    name: Name
    occasion: Occasion = "other"
    controller_id: int | None = None
    position: int = 0
    version: int = 1

    @property
    def title(self) -> str:
        """What its run-through is called on the screens."""
        return "Controller settings" if self.controller_id else self.name


class Step(Record):
    """A step of a checklist: something to do, or something to read and compare with the plan.

    `maker_default` and the range are metric, as its maker gives them; a reading outside the range is
    asked about. At a `firm` step nothing may stand that is not as asked and as planned, whatever the reason.
    """

    firm: ClassVar[bool] = False
    id: int = 0
    checklist_id: int = 0
    position: int = 0
    group_name: str = Field("", max_length=40)
    name: Name
    kind: Kind = "do"
    unit: str = Field("", max_length=20)
    step_size: float | None = Field(None, gt=0, le=1_000_000)
    choices: tuple[Annotated[str, Field(min_length=1, max_length=60)], ...] = ()
    why: Sentence = ""
    goes_wrong: Sentence = ""
    caution: Sentence = ""
    required: bool = False
    wait_s: int | None = Field(None, ge=1, le=86_400)
    topic: str = ""
    planned: Reading = ""
    maker_default: Reading = ""
    range_least: float | None = Field(None, ge=-1e9, le=1e9)
    range_most: float | None = Field(None, ge=-1e9, le=1e9)
    version: int = 1

    @model_validator(mode="after")
    def _makes_sense(self) -> Step:
        least, most = self.range_least, self.range_most
        if least is not None and most is not None and least > most:
            raise ValueError("The lowest of the range is above its highest.")
        if self.kind == "choice" and not self.choices:
            raise ValueError("List the choices, one per line.")
        if self.topic and self.topic not in TOPICS:
            raise ValueError("Choose a limit from the list.")
        return self

    @property
    def key(self) -> str:
        """Under which a class's limit and a reading of this step meet: its topic, else its name."""
        return self.topic or self.name.casefold()


class Limit(Record):
    """What a class asks of a reading: a least, a most, or the same for both."""

    least: float | None = None
    most: float | None = None


def scope_query(scope: Scope) -> str:
    """What the address of a run-through carries where it is not the whole list."""
    return "" if scope == "all" else f"?steps={scope}"


class ChecklistRun(Record):
    """A run-through of a checklist, with what was in the car then; open until `ended_at`.

    `scope`: which of a controller's settings it goes through; `profile_id`: by which profile's plan,
    None for the first.
    """

    id: int = 0
    uuid: Uuid
    checklist_id: int
    car_id: int | None = None
    controller_id: int | None = None
    motor_id: int | None = None
    race_class_id: int | None = None
    meeting_id: int | None = None
    firmware: str = ""
    scope: Scope = "all"
    profile_id: int | None = None
    started_at: Moment
    ended_at: Moment | None = None

    @property
    def query(self) -> str:
        """What its addresses carry where it is not the whole list."""
        return scope_query(self.scope)


class Answer(Record):
    """A stored answer to a step, with the plan, the limit and the last reading of that moment.

    `shown` is the reading in metric as plain text, "done", or empty while only a wait has begun or
    the step was skipped.
    """

    id: int = 0
    walk_id: int
    step_id: int
    key: str
    shown: Reading = ""
    skipped: bool = False
    reason: Sentence = ""
    unit: str = ""
    planned: Reading = ""
    last_shown: Reading = ""
    least: float | None = None
    most: float | None = None
    began_at: Moment | None = None
    answered_at: Moment | None = None

    @property
    def limit(self) -> Limit | None:
        """What the class asked at the time."""
        if self.least is None and self.most is None:
            return None
        return Limit(least=self.least, most=self.most)

"""A meeting's timetable and charges as the entries of a calendar, and these as an iCalendar file.

Source: RFC 5545, *Internet Calendaring and Scheduling Core Object Specification* (2009); RFC 7986 for
the calendar's name. Folding, escaping and VTIMEZONE are those of the library `icalendar`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID, uuid5

from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import CAR_KINDS, Heat, Meeting
from pitapp.packs.models import PlannedStep, PlanRecord

USUAL_LENGTH = timedelta(minutes=10)
"""How long an entry lasts where no class says how long a run is; our own choice."""
SHORTEST = timedelta(minutes=1)
MOST_SEQUENCE = 2**31 - 1
PRODUCT = "-//pitapp//race day//EN"


class Alarm(NamedTuple):
    """When a calendar rings: so many minutes before the start, or at the end."""

    text: str
    before_min: int = 0
    at_end: bool = False


class CalendarEntry(NamedTuple):
    """One entry of a calendar; `key` is what it keeps when it is moved."""

    key: str
    title: str
    starts_at: datetime
    ends_at: datetime
    sequence: int = 0
    alarms: tuple[Alarm, ...] = ()
    cancelled: bool = False


def heat_entries(
    meeting: Meeting,
    heats: Iterable[Heat],
    removed: Iterable[Heat],
    run_length_s: float | None,
    ring_min: int | None,
) -> list[CalendarEntry]:
    """The timetable; what was removed from it is cancelled, what is done rings no more.

    Args:
        run_length_s: how long a run is in the class, in s.
        ring_min: how many minutes before each start to ring; None: not at all.
    """
    entries = []
    for heat, cancelled in [
        *((each, False) for each in heats),
        *((each, True) for each in removed),
    ]:
        in_car = heat.kind in CAR_KINDS and run_length_s is not None
        length = timedelta(seconds=run_length_s or 0) if in_car else USUAL_LENGTH
        rings = ring_min is not None and heat.done_at is None and not cancelled
        text = f"{heat.title} at {clock_text(meeting, heat.starts_at)}"
        entries.append(
            CalendarEntry(
                f"heat/{heat.id}",
                heat.title,
                heat.starts_at,
                heat.starts_at + max(length, SHORTEST),
                heat.sequence,
                (Alarm(text, ring_min or 0),) if rings else (),
                cancelled,
            )
        )
    return entries


def charge_entries(
    record: PlanRecord,
    heats: Iterable[Heat],
    marks: Mapping[int, str],
    chargers: Mapping[int | None, str] | None = None,
) -> list[CalendarEntry]:
    """The charges of a plan that are due, each ringing when it begins and when it ends.

    A charge is known by the heat that it is for, so that a new plan moves it; what an earlier plan
    asked for and this one does not is cancelled. What is put away as it is needs no charger.

    Args:
        marks: what is written on each pack, by its id.
        chargers: what each is called, by its id, where there are several.
    """
    planned = (*record.plan.running, *record.plan.steps) if record.plan else ()
    entries = [
        _charge(
            _key(record, step),
            step,
            marks.get(step.pack_id, "?"),
            (chargers or {}).get(step.charger_id, ""),
            record.sequence,
        )
        for step in planned
        if step.amps
    ]
    asked = {entry.key for entry in entries}
    if record.sequence:
        for heat in heats:
            if heat.kind in CAR_KINDS and (key := f"charge/heat/{heat.id}") not in asked:
                begun = heat.starts_at - timedelta(hours=1)
                entries.append(
                    CalendarEntry(
                        key, "Charge", begun, heat.starts_at, record.sequence, (), cancelled=True
                    )
                )
    return list({entry.key: entry for entry in entries}.values())


def _key(record: PlanRecord, step: PlannedStep) -> str:
    """What a charge is known by: its heat, and which part it is of one that is stopped meanwhile."""
    return _whole_key(record, step) + (f"/{step.piece}" if step.piece > 1 else "")


def _whole_key(record: PlanRecord, step: PlannedStep) -> str:
    if step.kind == "storage":
        return f"storage/pack/{step.pack_id}"
    planned = record.plan.heats if record.plan else ()
    following = [
        heat for heat in planned if heat.pack_id == step.pack_id and heat.starts_at >= step.ends_at
    ]
    if not following:
        return f"charge/pack/{step.pack_id}"
    return f"charge/heat/{min(following, key=lambda heat: heat.starts_at).heat_id}"


def _charge(key: str, step: PlannedStep, mark: str, charger: str, sequence: int) -> CalendarEntry:
    way = "Charge" if step.amps > 0 else "Discharge"
    to_storage = " to storage" if step.kind == "storage" else ""
    output = f", output {step.output}" if step.output else ""
    where = f", {charger}" if charger else ""
    title = f"{way} pack {mark}{to_storage}: {abs(step.amps):.1f} A{where}{output}"
    ends = max(step.ends_at, step.begins_at + SHORTEST)
    alarms = (Alarm(title), Alarm(f"Pack {mark}: look whether it is done", at_end=True))
    return CalendarEntry(key, title, step.begins_at, ends, sequence, alarms)


def calendar_file(
    meeting: Meeting, place: str, key: UUID, entries: Sequence[CalendarEntry], made_at: datetime
) -> bytes:
    """The entries as an iCalendar file with the time zone of the meeting.

    Args:
        place: where it is, as the racer calls it; may be empty.
        key: what the UIDs are made of, with each entry's own key (UUID version 5, RFC 9562).
        made_at: the moment of the file (DTSTAMP).
    """
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", " ".join(meeting.title.split()))
    for entry in entries:
        event = icalendar.Event()
        event.add("uid", str(uuid5(key, entry.key)))
        event.add("dtstamp", made_at)
        event.add("sequence", min(entry.sequence, MOST_SEQUENCE))
        event.add("summary", entry.title)
        event.add("dtstart", entry.starts_at.astimezone(meeting.zone))
        event.add("dtend", entry.ends_at.astimezone(meeting.zone))
        event.add("status", "CANCELLED" if entry.cancelled else "CONFIRMED")
        if place:
            event.add("location", place)
        for each in entry.alarms:
            alarm = icalendar.Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", each.text)
            related = {"related": "END"} if each.at_end else {}
            alarm.add("trigger", timedelta(minutes=-each.before_min), parameters=related)
            event.add_component(alarm)
        calendar.add_component(event)
    if entries:
        days = sorted(entry.starts_at.astimezone(meeting.zone).date() for entry in entries)
        around = timedelta(days=366)
        calendar.add_missing_timezones(days[0] - around, days[-1] + around)
    return bytes(calendar.to_ical())

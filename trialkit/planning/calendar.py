"""When things are due: a trial's days from sowing to the last harvest."""

from __future__ import annotations

from datetime import timedelta

from trialkit.documents.plan import Event, EventKind
from trialkit.protocol.sections import Schedule
from trialkit.protocol.trial_protocol import Protocol

LID_CHECK_DAYS = 5
"""As the caution about mosquitoes says, which need about a week from egg to adult."""


def visit_days(schedule: Schedule) -> tuple[int, ...]:
    """Days after transplanting on which the gardens are visited, over the harvest window."""
    first, last = schedule.harvest_after_days
    return tuple(range(first, last + 1, schedule.visit_every_days))


def calendar(protocol: Protocol) -> tuple[Event, ...]:
    """List what is due, in order of days."""
    schedule = protocol.schedule
    planted, visits = schedule.transplant_after_days, visit_days(schedule)
    lids = range(LID_CHECK_DAYS, visits[0], LID_CHECK_DAYS)
    due: dict[EventKind, tuple[int, ...]] = {
        "sow": (0,),
        "transplant": (planted,),
        "lids": tuple(planted + day for day in lids),
        "visit": tuple(planted + day for day in visits),
    }
    sown = schedule.sow_on
    return tuple(
        Event(kind, number, len(days), day, sown and sown + timedelta(days=day))
        for kind, days in due.items()
        for number, day in enumerate(days, 1)
    )

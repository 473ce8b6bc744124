"""When things are due: a trial's days from sowing to the last harvest, as a table and as an iCalendar file."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from trialkit.documents.plan import Event
from trialkit.protocol.sections import Schedule
from trialkit.protocol.trial_protocol import Protocol

LID_CHECK_DAYS = 7  # a mosquito needs about a week from egg to adult


def visit_days(schedule: Schedule) -> tuple[int, ...]:
    """Days after transplanting on which the gardens are visited, over the harvest window."""
    first, last = schedule.harvest_after_days
    return tuple(range(first, last + 1, schedule.visit_every_days))


def calendar(protocol: Protocol) -> tuple[Event, ...]:
    """List what is due, in order of days.

    Parameters
    ----------
    protocol : Protocol
    """
    schedule = protocol.schedule
    planted, visits = schedule.transplant_after_days, visit_days(schedule)
    due = [
        ("sow", 0, "Sow", "Sow the seed of every cultivar in starter cubes, some more than is needed."),
        (
            "transplant",
            planted,
            "Mix and transplant",
            "Mix each bucket as its label says, measure pH before and after the acid, set a seedling in each cup.",
        ),
    ]
    for week, day in enumerate(range(LID_CHECK_DAYS, visits[0], LID_CHECK_DAYS), 1):
        lids = "See that lids sit tight and no mosquito gets in; note anything odd."
        due.append((f"lids-{week}", planted + day, "Look at the lids", lids))
    for number, day in enumerate(visits, 1):
        last = number == len(visits)
        rest = "Cut what is ready; record every head that is left as not ready, dead, bolted or missing."
        usual = "Cut and weigh each head that is ready, bucket by bucket, and note which are not."
        title = f"Visit {number} of {len(visits)}{', the last harvest' if last else ''}"
        due.append((f"visit-{number}", planted + day, title, rest if last else usual))
    sown = schedule.sow_on
    return tuple(
        Event(name, day, None if sown is None else sown + timedelta(days=day), title, detail)
        for name, day, title, detail in due
    )


def icalendar_text(protocol: Protocol, events: Sequence[Event]) -> str | None:
    """Write the dated events as iCalendar (RFC 5545), whole days; None where they have no dates.

    The same protocol gives the same text: the time stamp that the standard wants is the day of sowing.
    """
    import icalendar

    dated = [(event, event.on) for event in events if event.on is not None]
    if not dated:
        return None
    stamp = datetime.combine(dated[0][1], datetime.min.time(), UTC)
    whole = icalendar.Calendar()
    whole.add("prodid", "-//trialkit//trial calendar//EN")
    whole.add("version", "2.0")
    for event, on in dated:
        entry = icalendar.Event()
        entry.add("uid", f"{event.id}.{protocol.seed}.{protocol.trial.id}@trialkit.invalid")
        entry.add("dtstamp", stamp)
        entry.add("dtstart", on)
        entry.add("dtend", on + timedelta(days=1))
        entry.add("summary", f"{event.title}: {protocol.trial.title}")
        entry.add("description", event.detail)
        entry.add("transp", "TRANSPARENT")
        whole.add_component(entry)
    return str(whole.to_ical(), "utf-8")

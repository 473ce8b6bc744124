"""A plan's days as an iCalendar file (RFC 5545)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from trialkit.documents.plan import Plan
from trialkit.words.calendar_words import event_detail, event_title


def icalendar_text(plan: Plan) -> str | None:
    """Write the dated events as iCalendar, whole days; None where they have no dates.

    The same plan gives the same text: the time stamp that the standard wants is the day of sowing.
    """
    import icalendar

    dated = [(event, event.on) for event in plan.calendar if event.on is not None]
    if not dated:
        return None
    stamp = datetime.combine(dated[0][1], datetime.min.time(), UTC)
    whole = icalendar.Calendar()
    whole.add("prodid", "-//trialkit//trial calendar//EN")
    whole.add("version", "2.0")
    for event, on in dated:
        entry = icalendar.Event()
        entry.add("uid", f"{event.id}.{plan.seed}.{plan.id}@trialkit.invalid")
        entry.add("dtstamp", stamp)
        entry.add("dtstart", on)
        entry.add("dtend", on + timedelta(days=1))
        entry.add("summary", f"{event_title(event)}: {plan.title}")
        entry.add("description", event_detail(event))
        entry.add("transp", "TRANSPARENT")
        whole.add_component(entry)
    return str(whole.to_ical(), "utf-8")

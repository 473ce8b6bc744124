"""The calendar as a file that another program reads."""

from __future__ import annotations

from dataclasses import replace

import icalendar

from small_plan import small_plan
from trialkit.report.calendar_file import icalendar_text


def test_another_program_reads_the_file() -> None:
    """RFC 5545: whole days, CRLF, lines of 75 octets at most, a stamp and an identity each; the same every time."""
    plan = replace(small_plan(), title="Kopfsalat; «Eimer», überall\\n" + "x" * 90)
    text = icalendar_text(plan)
    assert text == icalendar_text(plan)
    lines = text.encode("utf-8").split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert max(map(len, lines)) <= 75
    assert b"\n" not in b"".join(lines)
    read = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert [entry.decoded("dtstart") for entry in read] == [event.on for event in plan.calendar]
    assert len({str(entry["uid"]) for entry in read}) == len(plan.calendar)
    assert str(read[0]["summary"]) == f"Sow: {plan.title}"


def test_without_days_of_the_calendar_there_is_no_file() -> None:
    """A protocol without a day of sowing has days, and no file."""
    undated = tuple(replace(event, on=None) for event in small_plan().calendar)
    assert icalendar_text(replace(small_plan(), calendar=undated)) is None

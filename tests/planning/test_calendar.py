"""The calendar: days in order, and a file that another program reads."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit._resources import resource_folder
from trialkit.planning.calendar import calendar, icalendar_text, visit_days
from trialkit.protocol.sections import Schedule
from trialkit.protocol.trial_protocol import Protocol, read_protocol


@pytest.fixture(scope="module")
def protocol() -> Protocol:
    """The bundled example's protocol: sown 6 August 2026, visits from day 28 to 49 after transplanting."""
    return read_protocol(resource_folder("example_trials") / "autumn_dose")


def test_days_by_hand(protocol: Protocol) -> None:
    """Sown on 6 August, transplanted a fortnight later, lids every week, visits every three days from 17 September."""
    events = calendar(protocol)
    assert [event.on for event in events[:3]] == [date(2026, 8, 6), date(2026, 8, 20), date(2026, 8, 27)]
    assert [event.day for event in events] == [0, 14, 21, 28, 35, *range(42, 64, 3)]
    assert events[5].on == date(2026, 9, 17)
    assert events[-1].title == "Visit 8 of 8, the last harvest"


def test_without_a_day_of_sowing(protocol: Protocol) -> None:
    """Days are counted all the same, and there is no calendar file to write."""
    schedule = protocol.schedule.model_copy(update={"sow_on": None})
    events = calendar(protocol.model_copy(update={"schedule": schedule}))
    assert [event.on for event in events] == [None] * len(events)
    assert icalendar_text(protocol, events) is None


@given(
    first=st.integers(1, 300),
    length=st.integers(0, 60),
    every=st.integers(1, 30),
)
def test_visits_cover_the_window(first: int, length: int, every: int) -> None:
    """Visits begin with the window, keep their distance, and the last is less than that from its end."""
    days = visit_days(Schedule(harvest_after_days=(first, first + length), visit_every_days=every))
    assert days[0] == first
    assert all(b - a == every for a, b in pairwise(days))
    assert first + length - every < days[-1] <= first + length


def test_another_program_reads_the_file(protocol: Protocol) -> None:
    """RFC 5545: whole days, CRLF, lines of 75 octets at most, a stamp and an identity each; the same every time."""
    named = protocol.model_copy(
        update={"trial": protocol.trial.model_copy(update={"title": "Kopfsalat; «Eimer», überall\\n" + "x" * 90})}
    )
    events = calendar(named)
    text = icalendar_text(named, events)
    assert text is not None
    assert text == icalendar_text(named, events)
    lines = text.encode("utf-8").split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert max(map(len, lines)) <= 75
    assert b"\n" not in b"".join(lines)
    read = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert [entry.decoded("dtstart") for entry in read] == [event.on for event in events]
    assert len({str(entry["uid"]) for entry in read}) == len(events)
    assert str(read[0]["summary"]) == f"Sow: {named.trial.title}"

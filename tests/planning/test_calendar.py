"""The calendar: days in order."""

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit._resources import resource_folder
from trialkit.planning.calendar import calendar, visit_days
from trialkit.protocol.sections import Schedule
from trialkit.protocol.trial_protocol import Protocol, read_protocol


@pytest.fixture(scope="module")
def protocol() -> Protocol:
    """The bundled example's protocol: sown 6 August 2026, visits from day 28 to 49 after transplanting."""
    return read_protocol(resource_folder("example_trials") / "autumn_dose")


def test_days_by_hand(protocol: Protocol) -> None:
    """Sown on 6 August, transplanted a fortnight later; lids every five days, visits every three from 17 September."""
    events = calendar(protocol)
    assert [event.on for event in events[:3]] == [date(2026, 8, 6), date(2026, 8, 20), date(2026, 8, 25)]
    assert [event.day for event in events] == [0, 14, 19, 24, 29, 34, 39, *range(42, 64, 3)]
    assert events[7].on == date(2026, 9, 17)
    assert [event.id for event in events[:4]] == ["sow", "transplant", "lids-1", "lids-2"]
    assert (events[-1].id, events[-1].count) == ("visit-8", 8)


def test_without_a_day_of_sowing(protocol: Protocol) -> None:
    """Days are counted all the same."""
    schedule = protocol.schedule.model_copy(update={"sow_on": None})
    events = calendar(protocol.model_copy(update={"schedule": schedule}))
    assert [event.on for event in events] == [None] * len(events)


@given(first=st.integers(1, 300), length=st.integers(0, 60), every=st.integers(1, 30))
def test_visits_cover_the_window(first: int, length: int, every: int) -> None:
    """Visits begin with the window, keep their distance, and the last is less than that from its end."""
    days = visit_days(Schedule(harvest_after_days=(first, first + length), visit_every_days=every))
    assert days[0] == first
    assert all(b - a == every for a, b in pairwise(days))
    assert first + length - every < days[-1] <= first + length

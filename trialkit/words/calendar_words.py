"""What is due, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Annotated

from trialkit.documents.plan import Event
from trialkit.words.phrases import days_words, listed


@dataclass(frozen=True)
class DueWords:
    """What is done in the same way on one day or on several."""

    title: str
    when: Annotated[str, "Days of the calendar; days after sowing where it is not known when that is."]
    detail: str


def event_title(event: Event) -> str:
    """Say what to do in a few words."""
    match event.kind:
        case "sow":
            return "Sow"
        case "transplant":
            return "Mix and transplant"
        case "lids":
            return "Look at the lids"
        case "visit":
            last = ", the last harvest" if event.number == event.count else ""
            return f"Visit {event.number} of {event.count}{last}"


def event_detail(event: Event) -> str:
    """Say what to do in a sentence."""
    match event.kind:
        case "sow":
            return "Sow the seed of every cultivar in starter cubes, some more than is needed."
        case "transplant":
            return (
                "Mix each bucket as its label says, measure pH before and after the acid, set a seedling in each cup."
            )
        case "lids":
            return "See that lids sit tight and no mosquito gets in; note anything odd."
        case "visit":
            if event.number == event.count:
                return "Cut what is ready; record what became of every head that is left."
            return "Cut and weigh each head that is ready, bucket by bucket, and note which are not."


def due_words(events: Sequence[Event]) -> tuple[DueWords, ...]:
    """Say what is due, all days of one kind together; the last visit by itself, as more is done on it.

    Examples
    --------
    >>> [due_words([Event("visit", n, 3, 30 + 3 * n, None) for n in (1, 2, 3)])[n].title for n in (0, 1)]
    ['Visits 1 to 2 of 3', 'Visit 3 of 3, the last harvest']
    >>> due_words([Event("sow", 1, 1, 0, None)])[0].when
    'when the season begins'
    """
    groups = (tuple(group) for _, group in groupby(events, key=lambda event: (event.kind, _is_last_visit(event))))
    return tuple(DueWords(_title(group), _when(group), event_detail(group[0])) for group in groups)


def _is_last_visit(event: Event) -> bool:
    return event.kind == "visit" and event.number == event.count


def _title(events: Sequence[Event]) -> str:
    first, last = events[0], events[-1]
    if first.kind != "visit" or first is last:
        return event_title(first)
    return f"Visits {first.number} to {last.number} of {last.count}"


def _when(events: Sequence[Event]) -> str:
    known = [event.on for event in events if event.on]
    if len(known) == len(events):
        return days_words(known)
    if events[0].day == 0:
        return "when the season begins"
    return f"{listed([str(event.day) for event in events])} days after sowing"

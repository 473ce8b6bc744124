"""What is due, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Annotated

from trialkit.documents.plan import Event
from trialkit.languages import gettext
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
            return gettext("Sow")
        case "transplant":
            return gettext("Mix and transplant")
        case "lids":
            return gettext("Look at the lids")
        case "visit":
            told = {"number": event.number, "last": event.count}
            if event.number == event.count:
                return gettext("Visit {number} of {last}, the last harvest", **told)
            return gettext("Visit {number} of {last}", **told)


def event_detail(event: Event) -> str:
    """Say what to do in a sentence."""
    match event.kind:
        case "sow":
            return gettext("Sow the seed in starter cubes. Of each cultivar, sow some more than is needed.")
        case "transplant":
            return gettext(
                "Mix each bucket as its card says. Read the pH before and after the acid. Set a seedling in each cup."
            )
        case "lids":
            return gettext("See that lids sit tight and no mosquito gets in. Write down anything odd.")
        case "visit":
            if event.number == event.count:
                return gettext("Cut and weigh what is ready. Write down what became of every head that is left.")
            return gettext("Cut and weigh each head that is ready, bucket by bucket. Write down which are not.")


def due_words(events: Sequence[Event], *, is_blind: bool = False) -> tuple[DueWords, ...]:
    """Say what is due, all days of one kind together; the last visit by itself, as more is done on it.

    In a blind trial no card tells how to mix.

    Examples
    --------
    >>> [due_words([Event("visit", n, 3, 30 + 3 * n, None) for n in (1, 2, 3)])[n].title for n in (0, 1)]
    ['Visits 1 to 2 of 3', 'Visit 3 of 3, the last harvest']
    >>> due_words([Event("sow", 1, 1, 0, None)])[0].when
    'when the season begins'
    """
    groups = (tuple(group) for _, group in groupby(events, key=lambda event: (event.kind, _is_last_visit(event))))
    return tuple(DueWords(_title(group), _when(group), _detail(group[0], is_blind=is_blind)) for group in groups)


def _detail(event: Event, *, is_blind: bool) -> str:
    if is_blind and event.kind == "transplant":
        return gettext("Your adviser sees to the mixing. Set a seedling in each cup.")
    return event_detail(event)


def _is_last_visit(event: Event) -> bool:
    return event.kind == "visit" and event.number == event.count


def _title(events: Sequence[Event]) -> str:
    first, last = events[0], events[-1]
    if first.kind != "visit" or first is last:
        return event_title(first)
    return gettext("Visits {first} to {last} of {all}", first=first.number, last=last.number, all=last.count)


def _when(events: Sequence[Event]) -> str:
    known = [event.on for event in events if event.on]
    if len(known) == len(events):
        return days_words(known)
    if events[0].day == 0:
        return gettext("when the season begins")
    return gettext("{days} days after sowing", days=listed([str(event.day) for event in events]))

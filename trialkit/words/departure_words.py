"""Departures from the layout, and what would follow from the records read otherwise."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from trialkit.documents.decision import Decision, OtherReading, ReadingCode
from trialkit.documents.departures import Departure, DepartureKind
from trialkit.documents.results import Results
from trialkit.domain.treatment import Level
from trialkit.languages import gettext
from trialkit.words.measures import BOTH, MeasureSystem, teaspoons, volume_words
from trialkit.words.phrases import count
from trialkit.words.treatment_names import acid_words, treatment_words

KIND_WORDS: Mapping[DepartureKind, str] = {
    "dose": "dose",
    "acid": "acid",
    "volume": "volume",
    "transplanting": "day of transplanting",
    "mixing": "day of mixing",
    "cultivar": "cultivar",
}


def departures_words(results: Results, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """How many buckets were not treated as assigned, and what would follow from what was done; nothing where none."""
    if not results.departures:
        return ()
    buckets = len({one.bucket for one in results.departures})
    kinds = Counter(one.kind for one in results.departures)
    listed = ", ".join(f"{kinds[kind]} in {words}" for kind, words in KIND_WORDS.items() if kinds[kind])
    were, they_count = ("was", "It counts") if buckets == 1 else ("were", "They count")
    found = f"{buckets} of {results.design.buckets} buckets {were} not treated as assigned: {listed}."
    return (f"{found} {they_count} as assigned here.{_by_what_was_done(results, system)}",)


def _by_what_was_done(results: Results, system: MeasureSystem) -> str:
    if results.decision is None:
        return ""
    reading = _reading(results.decision, "as_applied")
    if reading is None:
        return " None of this touches what was compared."
    left = f", with {count(reading.left_out, 'bucket')} left out" if reading.left_out else ""
    return f" Counted by what was really done{left}, {_would_be(reading, results.decision, system)}"


def all_lost_words(decision: Decision, system: MeasureSystem = BOTH) -> Iterator[str]:
    """What would follow if no head without a record came to anything."""
    reading = _reading(decision, "all_lost")
    if reading is not None:
        heads, then = reading.concerned, _would_be(reading, decision, system)
        if heads == 1:
            yield gettext("If the head without a record was lost, {then}", then=then)
        else:
            yield gettext("If all {number} heads without a record were lost, {then}", number=heads, then=then)


def amount_words(departure: Departure, level: Level | None, system: MeasureSystem = BOTH) -> tuple[str]:
    """What was assigned or applied, for a table."""
    if level is None:
        return ("not told",)
    if isinstance(level, float):
        return (teaspoons(level, system) if departure.kind == "dose" else volume_words(level, system.measures),)
    return (acid_words(level) if departure.kind == "acid" else level,)


def _reading(decision: Decision, code: ReadingCode) -> OtherReading | None:
    return next((one for one in decision.other_readings if one.of == code), None)


def _would_be(reading: OtherReading, decision: Decision, system: MeasureSystem) -> str:
    if reading.treatment is None or reading.verdict is None:
        return gettext("nothing could be recommended.")
    if not reading.is_same:
        treatment = treatment_words(reading.treatment, system)
        return gettext("the answer would change. It would be {treatment}.", treatment=treatment)
    if reading.verdict.is_settled == decision.verdict.is_settled:
        return gettext("the answer would be the same.")
    if reading.verdict.is_settled:
        return gettext("the answer would be the same, and settled.")
    return gettext("the answer would be the same, but not settled.")

"""Departures, and the records read otherwise, in words."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from small_decision import BETWEEN, LEAST, MOST, decide
from trialkit.documents.decision import OtherReading, ReadingCode, Verdict
from trialkit.documents.departures import Departure
from trialkit.documents.results import Results
from trialkit.domain.treatment import Treatment
from trialkit.words.decision_words import what_it_rests_on
from trialkit.words.departure_words import all_lost_words, amount_words, departures_words
from trialkit.words.measures import MeasureSystem

DOSE = Departure("a", "s", "dose", 3.5, 30.0, "[tsp_us]", "2026-08-20", "")
LATE = Departure("a", "s", "transplanting", "2026-08-20", "2026-08-30", None, "2026-08-30", "")
VOLUME = Departure("b", "s", "volume", 20.0, 16.0, "L", "2026-08-20", "a leak")


def reading(
    code: ReadingCode = "as_applied", recommended: Treatment | None = MOST, verdict: Verdict | None = Verdict.CHANGE
) -> OtherReading:
    """Read the records otherwise: 48 buckets or heads; nothing left out."""
    same = recommended in (MOST, BETWEEN)
    return OtherReading(code, recommended, verdict, same, 0.9, 48, 0)


def said(results: Results, *readings: OtherReading, departures: tuple[Departure, ...] = (DOSE, LATE, VOLUME)) -> str:
    """Say the departures of results with a decision to change to the largest dose."""
    decision = decide(other_readings=readings)
    return " ".join(departures_words(replace(results, decision=decision, departures=departures)))


@pytest.fixture(scope="module")
def results(example_results: Callable[[str], Results]) -> Results:
    """Results of a bundled trial."""
    return replace(example_results("spring_dose"), no_decision=None)


def test_nothing_is_said_of_nothing(results: Results) -> None:
    """No departures, no sentence."""
    assert said(results, departures=()) == ""
    assert list(all_lost_words(decide())) == []


@pytest.mark.parametrize(
    ("readings", "end"),
    [
        ((), "None of this touches what was compared."),
        ((reading(),), "Counted by what was really done, the answer would be the same."),
        ((replace(reading(), left_out=2),), "Counted by what was really done, with 2 buckets left out, the answer "
         "would be the same."),
        ((reading(verdict=Verdict.CHANGE_AND_TEST),), "Counted by what was really done, the answer would be the same, "
         "but not settled."),
        ((reading(recommended=LEAST),), "Counted by what was really done, the answer would change. It would be Fenleaf "
         "with 2 level teaspoons of nutrient a bucket."),
        ((reading(recommended=None, verdict=None),), "Counted by what was really done, nothing could be recommended."),
    ],
)  # fmt: skip
def test_departures_and_what_follows(results: Results, readings: tuple[OtherReading, ...], end: str) -> None:
    """Buckets count once, kinds each; what would follow from what was done comes last."""
    found = said(results, *readings)
    start = f"2 of {results.design.buckets} buckets were not treated as assigned: 1 in dose, 1 in volume, 1 in day of "
    assert found == f"{start}transplanting. They count as assigned here. {end}"


def test_without_a_decision(results: Results) -> None:
    """Nothing follows where nothing is recommended."""
    (sentence,) = departures_words(replace(results, decision=None, departures=(DOSE,)))
    assert (
        sentence
        == f"1 of {results.design.buckets} buckets was not treated as assigned: 1 in dose. It counts as assigned here."
    )


def test_heads_without_a_record_as_lost() -> None:
    """Said with what the answer rests on."""
    decision = decide(other_readings=(reading("all_lost", verdict=Verdict.CHANGE_AND_TEST),))
    sentence = "If all 48 heads without a record were lost, the answer would be the same, but not settled."
    assert list(all_lost_words(decision)) == [sentence]
    assert what_it_rests_on(decision).endswith(sentence)


def test_amounts() -> None:
    """Doses and volumes in the reader's measures; names and days as they are."""
    metric = MeasureSystem("metric")
    assert amount_words(DOSE, 3.5) == ("3½ level teaspoons",)
    assert (amount_words(VOLUME, 16.0, metric), amount_words(LATE, "2026-08-30")) == (("16 L",), ("2026-08-30",))
    acid = Departure("a", "s", "acid", "none", None, None, None, "")
    assert (amount_words(acid, "none"), amount_words(acid, None)) == (("no acid",), ("not told",))

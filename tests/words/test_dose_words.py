"""What the dose curve says and cannot tell, in words."""

from dataclasses import replace

from small_decision import BETWEEN, MOST, decide, dose_advice
from trialkit.documents.decision import Verdict
from trialkit.words.dose_words import dose_sentences, dose_tried, neighbours
from trialkit.words.measures import MeasureSystem


def test_one_dose_alone_is_good() -> None:
    """And it is the largest tried, beyond which nothing is known."""
    assert dose_sentences(decide()) == (
        "Only the dose of 6 level teaspoons is within 1 g a head of the best.",
        "The largest dose tried is 6 level teaspoons. Whether more would be better still is not known.",
    )


def test_a_range_of_doses_is_good() -> None:
    """Both ends are said, in the measures asked for; after costs where there are prices."""
    advice = replace(dose_advice(BETWEEN), good_from_tsp=3.0)
    decision = decide(other=BETWEEN, dose=advice)
    assert dose_sentences(decision, MeasureSystem("both", 5.0)) == (
        "Every dose from 3 level teaspoons (15 g) to 5 level teaspoons (25 g) is within 1 g a head of the best.",
    )
    (said,) = dose_sentences(replace(decision, unit="currency a bucket"))
    assert said.endswith("within 1 g a head of the best after costs.")


def test_without_a_curve_nothing_is_said() -> None:
    """One dose alone was tried."""
    assert dose_sentences(decide(dose=None)) == ()


def test_a_practice_within_the_range() -> None:
    """A dose that is kept is not said to be the largest."""
    assert len(dose_sentences(decide(Verdict.KEEP))) == 1


def test_neighbours() -> None:
    """Of a dose between those tried; a dose at an end has none on one side."""
    advice = dose_advice(MOST)
    assert neighbours(advice, 5.0) == (4.0, 6.0)
    assert neighbours(advice, 3.0) == (2.0, 4.0)
    assert neighbours(advice, 2.0) is None
    said = dose_tried(decide(other=BETWEEN), MeasureSystem("metric", 5.0))
    assert said == "No bucket had the dose of 25 g. It lies between 20 g and 30 g, which were tried."

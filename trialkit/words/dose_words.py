"""What the dose curve of a decision says, and what it cannot tell."""

from __future__ import annotations

from collections.abc import Iterator

from trialkit.documents.decision import Decision, DoseAdvice
from trialkit.domain.thresholds import SAME_VALUE_G
from trialkit.languages import gettext
from trialkit.words.measures import BOTH, MeasureSystem, least_weight, teaspoons
from trialkit.words.treatment_names import treatment_words


def dose_tried(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """Say that a treatment was not itself tried, and between which doses it lies."""
    dose = decision.recommended.dose_tsp
    around = neighbours(decision.dose, dose) if decision.dose and dose is not None else None
    if dose is None or around is None:
        return gettext(
            "No bucket had just this treatment, {treatment}. What we expect of it comes from its cultivar, dose and "
            "acid in other treatments.",
            treatment=treatment_words(decision.recommended, system),
        )
    low, high = (teaspoons(one, system) for one in around)
    return gettext(
        "No bucket had the dose of {dose}. It lies between {low} and {high}, which were tried.",
        dose=teaspoons(dose, system),
        low=low,
        high=high,
    )


def neighbours(advice: DoseAdvice, dose_tsp: float) -> tuple[float, float] | None:
    """Doses that were tried on either side of one that was not; None where it has not both."""
    tried = [point.dose_tsp for point in advice.points if point.buckets]
    below, above = [one for one in tried if one < dose_tsp], [one for one in tried if one > dose_tsp]
    return (max(below), min(above)) if below and above else None


def dose_sentences(decision: Decision, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """Say which doses are as good as the best, and whether more was looked at; nothing where one dose was tried."""
    return tuple(_dose_sentences(decision, system))


def _dose_sentences(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    advice, dose = decision.dose, decision.recommended.dose_tsp
    if advice is None or dose is None:
        return
    least, most = (teaspoons(one, system) for one in (advice.good_from_tsp, advice.good_to_tsp))
    costs = "" if decision.unit == "g per transplanted head" else " after costs"
    near = f"within {least_weight(SAME_VALUE_G, system)} a head of the best{costs}"
    if advice.good_from_tsp == advice.good_to_tsp:
        yield f"Only the dose of {least} is {near}."
    else:
        yield f"Every dose from {least} to {most} is {near}."
    if advice.at_edge:
        yield f"The largest dose tried is {teaspoons(dose, system)}. Whether more would be better still is not known."

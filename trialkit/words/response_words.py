"""Responses by name, which heads they speak of, and why one was not analysed."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.documents.findings import NotAnalysed, ResponseName
from trialkit.domain.thresholds import DEGREE_DAY_BASE_C
from trialkit.words.measures import BOTH, MeasureSystem
from trialkit.words.treatment_names import treatment_words

RESPONSE_LABELS: Mapping[ResponseName, str] = {
    "weight_g": "head weight",
    "bucket_weight_g": "marketable weight a bucket",
    "days": "days to harvest",
    "degree_days": f"growing degree days to harvest above {DEGREE_DAY_BASE_C:g} °C",
}
GROWN = "of the heads that were harvested, or were still growing at the last visit"
RESPONSE_HEADS: Mapping[ResponseName, str] = {
    "weight_g": "of the heads that were harvested",
    "bucket_weight_g": "of every bucket with a record, a lost head counting as zero",
    "days": GROWN,
    "degree_days": GROWN,
}
"""Which heads each response speaks of."""
REASONS = {
    "not_asked": "The protocol does not ask for it.",
    "no_record": "No head has this record.",
    "one_harvest_day": (
        "Every head of a garden was cut on one day. So the plan fixed the days to harvest, and they say nothing about "
        "the treatments."
    ),
    "one_treatment": "Only one treatment has a harvested head, so there is nothing to compare.",
    "one_bucket_each": (
        "No treatment has more than one bucket with a record. So a difference between treatments may be just one "
        "between buckets. Each treatment needs two buckets or more."
    ),
    "not_settled": "The variation between gardens, blocks and buckets could not be estimated from these records.",
    "no_variation": (
        "These records leave nothing to judge luck by. Too few differ, or they follow the treatments exactly."
    ),
    "confounded": (
        "The records cannot tell the treatments apart from the gardens, blocks or buckets that they stood in."
    ),
}
SEEN = {
    "never_ready": "No head of {} was ready when last seen.",
    "ready_at_once": "Every head of {} was ready when first seen.",
}


def not_analysed_sentence(why: NotAnalysed, system: MeasureSystem = BOTH) -> str:
    """Say why a response has no answer, and what to do otherwise next time."""
    if why.code in SEEN:
        seen = [SEEN[why.code].format(treatment_words(treatment, system)) for treatment in why.treatments]
        reason = (
            f"{' '.join(seen)} So nobody knows how long that takes, and days are not compared. Next time, look earlier "
            "or go on longer."
        )
    else:
        reason = REASONS[why.code]
    return f"{reason} {for_a_statistician(why.technical)}" if why.technical else reason


def for_a_statistician(technical: str) -> str:
    """Put what only a statistician can read in brackets."""
    return f"(For a statistician: {technical})"

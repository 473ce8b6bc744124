"""Why a response was not analysed, in words."""

import pytest

from trialkit.documents.findings import NotAnalysed
from trialkit.domain.treatment import Treatment
from trialkit.words.response_words import RESPONSE_LABELS, not_analysed_sentence

OAK, ELM = Treatment("Oakleaf", 2.0), Treatment("Elmleaf", 2.0)


@pytest.mark.parametrize(
    ("why", "sentence"),
    [
        (NotAnalysed("not_asked"), "The protocol does not ask for it."),
        (NotAnalysed("no_record"), "No head has this record."),
        (NotAnalysed("one_harvest_day"),
         "Every head of a garden was cut on one day. So the plan fixed the days to harvest, and they say nothing about "
         "the treatments."),
        (NotAnalysed("one_treatment"), "Only one treatment has a harvested head, so there is nothing to compare."),
        (NotAnalysed("never_ready", (OAK, ELM)),
         "No head of Oakleaf with 2 level teaspoons of nutrient a bucket was ready when last seen. No head of Elmleaf "
         "with 2 level teaspoons of nutrient a bucket was ready when last seen. So nobody knows how long that takes, "
         "and days are not compared. Next time, look earlier or go on longer."),
        (NotAnalysed("ready_at_once", (Treatment("Oakleaf"),), "Bounds are open."),
         "Every head of Oakleaf was ready when first seen. So nobody knows how long that takes, and days are not "
         "compared. Next time, look earlier or go on longer. (For a statistician: Bounds are open.)"),
        (NotAnalysed("one_bucket_each"),
         "No treatment has more than one bucket with a record. So a difference between treatments may be just one "
         "between buckets. Each treatment needs two buckets or more."),
        (NotAnalysed("not_settled"),
         "The variation between gardens, blocks and buckets could not be estimated from these records."),
        (NotAnalysed("no_variation"),
         "These records leave nothing to judge luck by. Too few differ, or they follow the treatments exactly."),
        (NotAnalysed("confounded", technical="X is singular."),
         "The records cannot tell the treatments apart from the gardens, blocks or buckets that they stood in. (For a "
         "statistician: X is singular.)"),
    ],
)  # fmt: skip
def test_reasons(why: NotAnalysed, sentence: str) -> None:
    """Every code of a reason is a sentence."""
    assert not_analysed_sentence(why) == sentence


def test_the_base_of_degree_days_is_said() -> None:
    """The temperature above which they count."""
    assert RESPONSE_LABELS["degree_days"] == "growing degree days to harvest above 4 °C"

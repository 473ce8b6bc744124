"""What varies in a model, and how it came to be this model, in words."""

from dataclasses import replace
from typing import Literal

import pytest

from trialkit.documents.findings import FittedModel, Note, PartlyTested
from trialkit.words.model_words import model_sentences, note_sentence, variance_label

MODEL = FittedModel(
    formula="weight_g ~ cultivar * dose_tsp", random=("site:block", "bucket"), residual="heads", bounds="strata",
    iterations=4, criterion=512.5, observations=96, buckets=48, notes=(), partly_tested=(),
)  # fmt: skip


@pytest.mark.parametrize(
    ("term", "residual", "label"),
    [
        ("site", "heads", "gardens"),
        ("site:block", "heads", "blocks within gardens"),
        ("site:block:whole_plot", "heads", "whole plots within blocks"),
        ("site:block:row", "heads", "rows within blocks"),
        ("site:volunteer", "heads", "volunteers within gardens"),
        ("bucket", "heads", "buckets treated alike"),
        ("residual", "heads", "heads within a bucket"),
        ("residual", "buckets", "buckets treated alike"),
        ("residual:FERN", "buckets", "buckets treated alike at FERN"),
        ("site:cultivar", "heads", "cultivar effect differing between gardens"),
        ("site:dose_tsp", "heads", "dose effect differing between gardens"),
    ],
)
def test_what_varies(term: str, residual: Literal["heads", "buckets"], label: str) -> None:
    """Terms of a model, as the table of variances names them."""
    assert variance_label(term, residual) == label


@pytest.mark.parametrize(
    ("note", "sentence"),
    [
        (Note("few_levels", count=2, term="site:block:row"),
         "There are only 2 rows within blocks, too few to stand for others."),
        (Note("bucket_means"), "The means of the buckets were analysed, each bucket counting alike."),
        (Note("heads_alike"), "The heads of a bucket were all recorded alike, as where it is weighed whole."),
        (Note("spread_by_garden"),
         "Like buckets differ far more in some gardens than in others, so each garden got a variance of its own."),
        (Note("variances_held"),
         "The variances did not settle when left free, so they were held at zero or above. So tests are approximate."),
        (Note("days_drawn", 31),
         "31 heads became ready between two visits. Their days were drawn between these, many times over."),
        (Note("not_ready", 4), "4 heads were not ready at the last visit, and counted as taking longer than that."),
        (Note("not_ready", 1), "1 head was not ready at the last visit, and counted as taking longer than that."),
        (Note("weather_unknown", 1), "1 head left out, as the weather of some of their days is not known."),
        (Note("heads_unrecorded", 1),
         "1 bucket without a record of some heads. These were taken to fare like the others of their bucket."),
        (Note("heads_unweighed", 3), "3 buckets left out, as none of their marketable heads was weighed."),
        (Note("garden_failed", site="s3"),
         "Nothing was marketable at s3. That garden says nothing of how treatments differ, so it is left out."),
    ],
)  # fmt: skip
def test_notes(note: Note, sentence: str) -> None:
    """Every code of a note is a sentence."""
    assert note_sentence(note) == sentence


def test_effects_partly_tested_come_last() -> None:
    """An effect may keep some of its degrees of freedom, or none."""
    lost = ", as some combinations were never tried or all lost."
    model = replace(
        MODEL,
        notes=(Note("bucket_means"),),
        partly_tested=(PartlyTested("cultivar:dose_tsp", 1, 2), PartlyTested("acidifier", 0, 1)),
    )
    assert model_sentences(model) == (
        "The means of the buckets were analysed, each bucket counting alike.",
        f"The effect of cultivar by dose was tested only in part (1 of 2 degrees of freedom){lost}",
        f"The effect of acid was not tested{lost}",
    )

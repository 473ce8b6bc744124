"""What varies in a fitted model, and how it came to be this model."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from trialkit.documents.decision import Variation
from trialkit.documents.findings import FittedModel, Note, PartlyTested
from trialkit.words.factor_words import effect_label

BETWEEN = {
    "site": "gardens",
    "site:block": "blocks within gardens",
    "site:block:whole_plot": "whole plots within blocks",
    "site:block:row": "rows within blocks",
    "site:block:column": "columns within blocks",
    "site:volunteer": "volunteers within gardens",
    "bucket": "buckets treated alike",
}
TOO_SMALL = "too small to measure"
SPREAD_WORDS: Mapping[Variation, str] = {
    "bucket": "buckets treated alike",
    "block": "blocks within gardens",
    "whole_plot": "whole plots within blocks",
    "garden": "gardens",
    "garden_cultivar": "cultivar effect differing between gardens",
    "garden_dose": "dose effect differing between gardens",
    "garden_acidifier": "acid effect differing between gardens",
    "season_level": "seasons",
    "season": "effects differing between seasons",
    "cultivar": "cultivars",
    "acidifier": "acids",
    "curve": "bends of the dose curve",
    "interaction": "what cultivar, dose and acid do together only",
    "surroundings": "effects differing with a garden's water, sun or kind",
}


def variance_label(term: str, residual: Literal["heads", "buckets"]) -> str:
    """Say between what a variance is.

    Examples
    --------
    >>> variance_label("site:block", "heads"), variance_label("site:dose_tsp", "heads")
    ('blocks within gardens', 'dose effect differing between gardens')
    >>> variance_label("residual", "heads"), variance_label("residual:FERN", "buckets")
    ('heads within a bucket', 'buckets treated alike at FERN')
    """
    first, _, second = term.partition(":")
    if first == "residual":
        between = "heads within a bucket" if residual == "heads" else BETWEEN["bucket"]
        return f"{between} at {second}" if second else between
    return BETWEEN.get(term) or f"{effect_label(second)} effect differing between gardens"


def model_sentences(model: FittedModel) -> tuple[str, ...]:
    """Say how a model came to be what it is, and what it leaves untested."""
    return (*map(note_sentence, model.notes), *map(_partly_tested, model.partly_tested))


def note_sentence(note: Note) -> str:
    """Say what a note is about."""
    return " ".join(_note(note))


def _note(note: Note) -> Iterator[str]:
    count = note.count or 0
    heads = "head" if count == 1 else "heads"
    buckets = f"{count} bucket{'' if count == 1 else 's'}"
    match note.code:
        case "few_levels":
            yield f"There are only {count} {BETWEEN.get(note.term or '', note.term)}, too few to stand for others."
        case "bucket_means":
            yield "The means of the buckets were analysed, each bucket counting alike."
        case "heads_alike":
            yield "The heads of a bucket were all recorded alike, as where it is weighed whole."
        case "spread_by_garden":
            yield "Like buckets differ far more in some gardens than in others, so each garden got a variance of"
            yield "its own."
        case "variances_held":
            yield "The variances did not settle when left free, so they were held at zero or above. So tests are"
            yield "approximate."
        case "days_drawn":
            yield f"{count} heads became ready between two visits. Their days were drawn between these, many times"
            yield "over."
        case "ready_at_first":
            were = "was" if count == 1 else "were"
            yield f"{count} {heads} {were} ready at the garden's first visit, and counted as taking at most that long."
        case "not_ready":
            were = "was" if count == 1 else "were"
            yield f"{count} {heads} {were} not ready at the last visit, and counted as taking longer than that."
        case "weather_unknown":
            yield f"{count} {heads} left out, as the weather of some of their days is not known."
        case "heads_unrecorded":
            yield f"{buckets} without a record of some heads. These were taken to fare like the others of their bucket."
        case "heads_unweighed":
            yield f"{buckets} left out, as none of their marketable heads was weighed."
        case "garden_failed":
            yield f"Nothing was marketable at {note.site}. That garden says nothing of how treatments differ, so it is"
            yield "left out."


def _partly_tested(effect: PartlyTested) -> str:
    tested = f"tested only in part ({effect.df} of {effect.full_df} degrees of freedom)" if effect.df else "not tested"
    return f"The effect of {effect_label(effect.term)} was {tested}, as some combinations were never tried or all lost."

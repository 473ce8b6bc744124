"""The whole document that an analysis writes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.documents.decision import Decision, NoDecision
from trialkit.documents.departures import Departure
from trialkit.documents.document import Sealed
from trialkit.documents.findings import Losses, ResponseResult
from trialkit.documents.returns import Correction
from trialkit.documents.water import RecordedWater
from trialkit.domain.factors import FactorName
from trialkit.domain.short_repr import ShortRepr
from trialkit.domain.treatment import Level
from trialkit.domain.units import Measures


@dataclass(frozen=True)
class About:
    """The trial in the adviser's words."""

    id: Annotated[str, "Of the trial."]
    title: Annotated[str, "Of the trial."]
    question: Annotated[str, "That it asks."]
    season: Annotated[str, "When it stood; empty where nobody said."]
    started_on: Annotated[str | None, "Day, ISO 8601."]
    contact_role: Annotated[str, "Whom to ask."]


@dataclass(frozen=True)
class InputFile:
    """A file that the analysis read."""

    file: Annotated[str, "Its name in the trial's folder."]
    sha256: Annotated[str, "Its digest."]


@dataclass(frozen=True)
class Site:
    """A garden that took part."""

    site: Annotated[str, "Its short name, as the tables have it."]
    name: Annotated[str | None, "What people call it."]
    kind: Annotated[str | None, "School, library, home and the like."]
    water_source: Annotated[str | None, "Where its water comes from."]
    alkalinity_mg_l_caco3: Annotated[float | None, "Of its water, mg/L as calcium carbonate, as stated."]
    sun_hours: Annotated[float | None, "Of direct sun a day."]


@dataclass(frozen=True)
class VariedFactor:
    """A treatment factor with two levels or more."""

    name: Annotated[FactorName, "As the protocol names it."]
    column: Annotated[str, "Of layout.csv."]
    unit: Annotated[str | None, "Of its levels; None where they are names."]
    levels: Annotated[tuple[Level, ...], "As the protocol orders them."]
    product: Annotated[str | None, "Nutrient that the doses are of."]


@dataclass(frozen=True)
class FixedFactor:
    """A treatment factor that was the same in every bucket."""

    name: Annotated[FactorName, "As the protocol names it."]
    level: Annotated[Level, "The one level; of a dose, level teaspoons a bucket."]
    product: Annotated[str | None, "Nutrient that the dose is of."]


@dataclass(frozen=True)
class FeedPart:
    """What goes into the bucket with each level teaspoon of the nutrient."""

    product: Annotated[str, "Its name."]
    tsp: Annotated[float, "Level teaspoons of it for each of the nutrient."]
    g_per_tsp: Annotated[float, "Weight of a level teaspoon of it, g."]


@dataclass(frozen=True)
class AcidUsed:
    """What was recorded of one acidifier at one garden."""

    site: Annotated[str, "The garden."]
    acidifier: Annotated[str, "Its name."]
    buckets: Annotated[int, "That got it."]
    acid_tsp: Annotated[float | None, "Median teaspoons a bucket."]
    powder_g_per_tsp: Annotated[
        float | None, "What a level teaspoon of a powder weighs; None for liquids. Powders are dissolved before use."
    ]
    ph_after: Annotated[float | None, "Median pH after mixing."]


@dataclass(frozen=True)
class Design:
    """What was planned and how it was randomised."""

    kind: Annotated[str, "Of layout."]
    sites: Annotated[tuple[Site, ...], "Gardens that took part."]
    blocks_per_site: Annotated[int, "Blocks at each garden."]
    buckets: Annotated[int, "Laid out; of gardens that withdrew, those with a record alone."]
    heads_per_bucket: Annotated[int, "Planted in each."]
    heads: Annotated[int, "Planted in all."]
    volume_l: Annotated[float, "Of a full bucket, litres."]
    whole_plot: Annotated[str | None, "Factor that was randomised to whole plots, where there are any."]
    factors: Annotated[tuple[VariedFactor, ...], "What was varied."]
    fixed: Annotated[tuple[FixedFactor, ...], "What was the same in every bucket."]
    acid_used: Annotated[tuple[AcidUsed, ...], "What was recorded of each acidifier at each garden."]
    measures: Annotated[Measures, "In which the page is told; both lets its reader choose."] = "both"
    feed_parts: Annotated[
        tuple[FeedPart, ...], "What goes in after the nutrient, in this order; empty where labels do not tell."
    ] = ()


@dataclass(frozen=True)
class Amendment:
    """A change of the layout after it was handed out."""

    layout_version: Annotated[int, "Of the layout from then on; as first laid out it is version 1."]
    on: Annotated[str, "Day, ISO 8601."]
    site: Annotated[str, "Short name of the garden."]
    change: Annotated[Literal["joined", "withdrew", "rejoined"], "What the garden did."]
    blocks: Annotated[int | None, "Of a garden that joined."]
    why: Annotated[str, "The reason."]


@dataclass(frozen=True, repr=False)
class Results(ShortRepr, Sealed):
    """Everything a trial has to say."""

    schema: Annotated[Literal["trialkit-results-5"], "Name and version of the format."]
    trial: Annotated[About, "The trial in the adviser's words."]
    made_with: Annotated[dict[str, str], "Version of each library that had a hand in it."]
    inputs: Annotated[tuple[InputFile, ...], "Every file that was read."]
    seed: Annotated[int, "That every draw follows from."]
    confidence: Annotated[float, "Of the intervals, between 0 and 1."]
    design: Annotated[Design, "What was planned and how it was randomised."]
    losses: Annotated[Losses, "What became of the heads."]
    water: Annotated[RecordedWater, "What doses are in the bucket, and each garden's water."]
    responses: Annotated[dict[str, ResponseResult], "What was found of each response, by its name."]
    decision: Annotated[Decision | None, "What to recommend; None where nothing can be."]
    no_decision: Annotated[NoDecision | None, "Why there is no decision."]
    corrections: Annotated[tuple[Correction, ...], "What was put right in the records, and why."] = ()
    amendments: Annotated[tuple[Amendment, ...], "How the layout was changed after it was handed out, and why."] = ()
    departures: Annotated[
        tuple[Departure, ...], "Where a bucket was treated otherwise than assigned; everything above counts it so."
    ] = ()
    sha256: Annotated[
        str, "Digest of all the rest, as canonical JSON; a file whose content gives another was altered."
    ] = ""

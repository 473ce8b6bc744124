"""A mixing card as facts: what goes into the buckets of a treatment, for `trialkit.words.card_words` to say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.documents.recommended import PracticePart
from trialkit.domain.treatment import Treatment
from trialkit.solution.acid_steps import AcidStep
from trialkit.solution.mixing import Spoons

AcidUse = Literal["not tried", "none", "strength unknown", "water unknown", "beyond acid", "no safe step", "in steps"]


@dataclass(frozen=True)
class AcidStart:
    """Where to start with acid in a garden's water: an estimate."""

    garden: Annotated[str, "Name of the garden."]
    alkalinity_mg_l_caco3: Annotated[float | None, "Of its water, mg/L as calcium carbonate; None: not known."]
    acid: Annotated[Spoons | None, "How much; None where no step is safe in this water, or acid cannot serve it."]
    beyond_acid: Annotated[bool, "Whether it has more alkalinity than acid can serve."] = False
    ph_later: Annotated[
        tuple[float, float] | None,
        "pH of the bucket when it has stood, from none of the acid eaten by microbes to all of it; None without acid.",
    ] = None


@dataclass(frozen=True)
class CardAcid:
    """How the acid of a card goes in."""

    use: Annotated[AcidUse, "Whether acid goes in, and why not."]
    name: Annotated[str, "Of the acid; empty where none goes in."] = ""
    step: Annotated[AcidStep | None, "What all gardens of the card bear at a time."] = None
    powder_g_per_tsp: Annotated[float | None, "What a level teaspoon of a powder weighs, g; None of a liquid."] = None


@dataclass(frozen=True)
class MixingCard:
    """A treatment's card."""

    treatment: Annotated[Treatment, "Its dose and acidifier."]
    volume_l: Annotated[float, "Water in the bucket, L."]
    nutrient: Annotated[str, "Name of the nutrient; empty where doses are not tried."]
    nutrient_g: Annotated[float | None, "What the dose weighs, g; None where nobody has weighed a teaspoon."]
    parts: Annotated[tuple[PracticePart, ...], "What goes in after the nutrient, in this order."]
    acid: Annotated[CardAcid, "How the acid goes in."]
    starts: Annotated[tuple[AcidStart, ...], "Starting points for the acid, by garden, where the water is known."]
    buckets: Annotated[tuple[tuple[str, tuple[str, ...]], ...], "Each garden with the buckets that the card serves."]

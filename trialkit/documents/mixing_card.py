"""A mixing card as facts: what goes into the buckets of a treatment, for `trialkit.words.cards` to say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trialkit.domain.treatment import Treatment
from trialkit.solution.acid_steps import AcidStep
from trialkit.solution.mixing import Spoons

AcidUse = Literal["not tried", "none", "strength unknown", "no safe step", "in steps"]


@dataclass(frozen=True)
class AcidStart:
    """Where to start with acid in a garden's water: an estimate.

    Attributes
    ----------
    garden : str
        Name of the garden.
    alkalinity_mg_l_caco3 : float
        Of its water, mg/L as calcium carbonate.
    acid : Spoons or None
        How much; None where no step is safe in this water.
    """

    garden: str
    alkalinity_mg_l_caco3: float
    acid: Spoons | None


@dataclass(frozen=True)
class CardAcid:
    """How the acid of a card goes in.

    Attributes
    ----------
    use : {"not tried", "none", "strength unknown", "no safe step", "in steps"}
        Whether acid goes in, and why not.
    name : str
        Of the acid; empty where none goes in.
    step : AcidStep or None
        What all gardens of the card bear at a time.
    powder_g_per_tsp : float or None
        What a level teaspoon of a powder weighs, g; None of a liquid.
    """

    use: AcidUse
    name: str = ""
    step: AcidStep | None = None
    powder_g_per_tsp: float | None = None


@dataclass(frozen=True)
class MixingCard:
    """A treatment's card.

    Attributes
    ----------
    treatment : Treatment
        Its dose and acidifier.
    volume_l : float
        Water in the bucket, L.
    nutrient : str
        Name of the nutrient; empty where doses are not tried.
    nutrient_g : float or None
        What the dose weighs, g; None where nobody has weighed a teaspoon.
    acid : CardAcid
        How the acid goes in.
    starts : tuple of AcidStart
        Starting points for the acid, by garden, where the water is known.
    buckets : tuple of (str, tuple of str)
        Each garden with the buckets that the card serves.
    """

    treatment: Treatment
    volume_l: float
    nutrient: str
    nutrient_g: float | None
    acid: CardAcid
    starts: tuple[AcidStart, ...]
    buckets: tuple[tuple[str, tuple[str, ...]], ...]

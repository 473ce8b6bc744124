"""What a feed lacks, and in which order its parts go in, in words."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.domain.units import Measures
from trialkit.solution.mixing import by_spoons
from trialkit.solution.nutrients import Scarce
from trialkit.words.measures import grams_words, in_measures, level_teaspoons
from trialkit.words.phrases import in_percent

IN_ORDER = (
    "They go in this order into the full bucket, each stirred in until nothing is left before the next; never two of "
    "them dry or in one cup, where calcium and the others turn to grit that plants cannot use."
)
SCARCE: Mapping[Scarce, str] = {
    "Ca": (
        "Calcium {share} of the published target for lettuce: young leaves may turn brown at the edges (tipburn). Use "
        "a feed with calcium nitrate, or water that has calcium."
    ),
    "Mg": (
        "Magnesium {share} of the published target for lettuce: older leaves may turn yellow between the veins. Use a "
        "feed with magnesium sulfate (Epsom salt), or water that has magnesium."
    ),
}
"""Tipburn as calcium shortage of fast young leaves: Frantz et al. 2004, J. Amer. Soc. Hort. Sci. 129:331-338. Yellow
between the veins of older leaves for magnesium: common practice, no source."""


def scarce_words(element: Scarce, share: float) -> str:
    """Say that there is too little of an element, what may follow and what helps.

    Examples
    --------
    >>> scarce_words("Ca", 0.0)[:46]
    'Calcium 0 % of the published target for lettuc'
    """
    return SCARCE[element].format(share=in_percent(share))


def part_words(product: str, tsp: float, g_per_tsp: float, measures: Measures = "both") -> str:
    """Say how much of a part of a feed goes in; what spoons cannot measure is weighed.

    Examples
    --------
    >>> part_words("Epsom salt", 0.75, 5.0), part_words("Epsom salt", 0.1, 5.0)
    ('¾ level teaspoon of Epsom salt (3.8 g)', '0.5 g of Epsom salt, by a scale')
    >>> part_words("Epsom salt", 0.75, 5.0, "metric"), part_words("Epsom salt", 0.1, 5.0, "kitchen")
    ('3.8 g of Epsom salt', '0.5 g of Epsom salt, by a scale')
    """
    kitchen, grams = _part(tsp, g_per_tsp)
    if kitchen is None:
        return f"{grams} of {product}, by a scale"
    beside = f" ({grams})" if measures == "both" else ""
    return f"{grams if measures == 'metric' else kitchen} of {product}{beside}"


def part_amount(tsp: float, g_per_tsp: float, measures: Measures = "both") -> str:
    """Say the amount alone.

    Examples
    --------
    >>> part_amount(3.0, 5.0), part_amount(3.0, 5.0, "metric"), part_amount(0.1, 5.0, "kitchen")
    ('3 level teaspoons (15 g)', '15 g', '0.5 g, by a scale')
    """
    kitchen, grams = _part(tsp, g_per_tsp)
    return f"{grams}, by a scale" if kitchen is None else in_measures(measures, kitchen, grams)


def _part(tsp: float, g_per_tsp: float) -> tuple[str | None, str]:
    """Level spoons, None where they cannot measure it, and grams: scales show so little in no other unit."""
    measured = by_spoons(tsp)
    kitchen = None if measured is None else level_teaspoons(measured)
    return kitchen, grams_words(tsp * g_per_tsp)

"""Acid for each class of water: chemistry, and what the waters of all trials took beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from trialkit.documents.ledger_entry import AcidTaken
from trialkit.documents.recommended import AcidForClass, AcidRatio
from trialkit.domain.ph_window import TARGET_PH
from trialkit.domain.treatment import Treatment
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.rules.mixings import acid_product
from trialkit.rules.trial_folder import read_trial
from trialkit.solution.acids import AcidProduct
from trialkit.solution.mixing import acid_by_class

RATIO_SD = 0.15
"""Of what waters take beside what is foreseen, on the scale of logarithms, before any reading; as wide is the
half-normal of how much gardens differ, by what was stated of their water (common practice, no source)."""
TAU = np.linspace(0.0, 4 * RATIO_SD, 121)
LIMITS = 0.95
"""Of the gardens' own limits."""


def acid_ratio(taken: Sequence[AcidTaken], confidence: float) -> AcidRatio | None:
    """Share what gardens took among them: their mean on the scale of logarithms, drawn towards nothing.

    Gardens differ by a standard deviation that is averaged over a grid; given it everything is normal.

    Parameters
    ----------
    taken : sequence of AcidTaken
        Of one acid, one for each garden and trial.
    confidence : float
        Of the limits.
    """
    if not taken:
        return None
    found = np.log([one.ratio for one in taken])
    own = np.log([one.upper / one.lower for one in taken]) / (2 * ndtri((1 + LIMITS) / 2))
    variance = own**2 + TAU[:, None] ** 2
    precision = RATIO_SD**-2 + (1 / variance).sum(1)
    mean = (found / variance).sum(1) / precision
    log = -(np.log(variance) + found**2 / variance).sum(1) / 2 + precision * mean**2 / 2 - np.log(precision) / 2
    log -= (TAU / RATIO_SD) ** 2 / 2
    weight = np.exp(log - log.max()) / np.exp(log - log.max()).sum()
    middle = float(weight @ mean)
    half = float(ndtri((1 + confidence) / 2) * np.sqrt(weight @ (1 / precision + (mean - middle) ** 2)))
    return AcidRatio(
        ratio=math.exp(middle),
        lower=math.exp(middle - half),
        upper=math.exp(middle + half),
        mixings=sum(one.mixings for one in taken),
        gardens=len(taken),
    )


def ratio_for(found: LedgerContents, chosen: Treatment) -> AcidRatio | None:
    """What the ledger's waters took of a treatment's acid."""
    taken = [one for entry in found.entries for one in entry.of_trial.acid if one.acidifier == chosen.acidifier]
    return acid_ratio(taken, found.confidence)


def acid_for_classes(found: LedgerContents, chosen: Treatment, ratio: AcidRatio | None) -> tuple[AcidForClass, ...]:
    """Acid of the recommended practice by class of water."""
    product = _newest_product(found, chosen)
    if product is None:
        return ()
    waters = {
        (one.site, one.alkalinity_mg_l_caco3)
        for entry in found.entries
        for one in entry.of_trial.sites
        if one.alkalinity_mg_l_caco3 is not None
    }
    rows = acid_by_class(
        found.latest.protocol.bucket.volume_l,
        product,
        TARGET_PH,
        feed=found.feed,
        nutrient_tsp=chosen.dose_tsp or 0.0,
        ratio=ratio.ratio if ratio else 1.0,
    )
    return tuple(
        AcidForClass(
            one.name,
            one.lower,
            one.upper,
            one.acid.tsp,
            one.acid.solution_tsp,
            one.step.tsp if one.step else None,
            one.ph_at_lower,
            one.ph_at_upper,
            one.ph_standing,
            one.ph_acid_eaten,
            sum(
                one.lower <= alkalinity < one.upper or alkalinity == one.upper == rows[-1].upper
                for _, alkalinity in waters
            ),
        )
        for one in rows
    )


def _newest_product(found: LedgerContents, chosen: Treatment) -> AcidProduct | None:
    """The acid as the newest shelf that has it tells its strength."""
    for entry in reversed(found.entries):
        newest = entry is found.entries[-1]
        shelf = found.latest if newest else read_trial(entry.folder, stage="plan")
        product = acid_product(shelf.products, str(chosen.acidifier))
        if product is not None:
            return product
    return None

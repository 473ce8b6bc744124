"""How good a layout is, whatever its kind: efficiency, variance of each difference, error, and what to be warned of.

Pure: a frame in, frozen values out. Sources stand where each quantity is computed, `trialkit.layouts.information` and
`trialkit.layouts.randomised_strata`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.domain.errors import WrongCall
from trialkit.layouts.information import (
    FloatArray,
    IntArray,
    canonical_factors,
    codes,
    comparable_groups,
    harmonic_mean,
    information_matrix,
    pairwise_variances,
)
from trialkit.layouts.randomised_strata import BUCKETS, EffectInformation, Stratum, effects_of, labels_of, strata_of

FEWEST_ERROR_DEGREES = 12
"""Below this Student's t, and so every interval, widens fast (common practice, no source)."""


WHOLE_PLOT = "whole_plot"


@dataclass(frozen=True)
class LayoutWarning:
    """Something an adviser can act on: what it is, and what would mend it."""

    code: str
    sentence: str
    mend: str


@dataclass(frozen=True)
class LayoutEfficiency:
    """What a layout can tell about its treatments.

    Attributes
    ----------
    treatments : pandas.DataFrame
        The treatments found, one row each, in order of appearance.
    replication : numpy.ndarray
        Buckets of each; shape (t,).
    canonical_factors : numpy.ndarray
        Canonical efficiency factors within blocks, least first; shape (t - 1,).
    average_factor : float
        Their harmonic mean; 1 for complete blocks, 0 if disconnected.
    pairwise_variances : numpy.ndarray
        Variance of each difference within blocks over the variance of a bucket; shape (t, t), infinite where the layout
        cannot compare.
    mean_variance, mean_variance_complete : float
        Their mean, and what it would be in complete blocks with the same replication.
    groups : tuple of tuple of int
        Rows of `treatments` that can be compared within blocks with each other; one group if connected.
    strata : tuple of Stratum
        Degrees of freedom, the coarsest stratum first.
    effects : tuple of EffectInformation
        Where each effect of the factors is estimated.
    warnings : tuple of LayoutWarning
    """

    treatments: pd.DataFrame
    replication: IntArray
    canonical_factors: FloatArray
    average_factor: float
    pairwise_variances: FloatArray
    mean_variance: float
    mean_variance_complete: float
    groups: tuple[tuple[int, ...], ...]
    strata: tuple[Stratum, ...]
    effects: tuple[EffectInformation, ...]
    warnings: tuple[LayoutWarning, ...]

    @property
    def connected(self) -> bool:
        """Whether every two treatments can be compared within blocks."""
        return len(self.groups) == 1


def layout_efficiency(
    layout: pd.DataFrame, factors: Sequence[str], terms: Sequence[str], *, effects_differ: bool = False
) -> LayoutEfficiency:
    """Work out what a layout can tell.

    Parameters
    ----------
    layout : pandas.DataFrame
        One row a bucket, with the columns named in `factors` and `terms`.
    factors : sequence of str
        Columns of the varied treatment factors.
    terms : sequence of str
        Strata between site and bucket, as `LayoutKind.random_terms`; site is taken before them if there is such a
        column.
    effects_differ : bool
        Whether the factors' effects are allowed to differ between sites at random, so that each is judged by how much
        it differs: the strata ``"site:factor"`` are added, save where no site has a level twice, since there they are
        the buckets.

    Returns
    -------
    LayoutEfficiency

    Raises
    ------
    WrongCall
        If there are fewer than two treatments.
    """
    treatment = _treatment_codes(layout, factors)
    if len(layout) == 0 or treatment.max() == 0:
        raise WrongCall("A layout with one treatment has nothing to compare.")
    terms = [*(["site"] if "site" in layout.columns and "site" not in terms else []), *terms]
    # Whole plots carry a factor: they are an error to judge it by, not a nuisance to be taken out.
    blockings = [labels_of(layout, term) for term in terms if not term.endswith(WHOLE_PLOT)]
    matrix = information_matrix(treatment, blockings)
    replication = np.bincount(treatment)
    factors_of_comparisons = canonical_factors(matrix, replication.astype(float))
    variances = pairwise_variances(matrix)
    pairs = np.triu_indices(len(replication), 1)
    repeated = [factor for factor in factors if layout.duplicated(["site", factor]).any()] if effects_differ else []
    every = [*terms, *(f"site:{factor}" for factor in repeated)]
    strata = strata_of(layout, treatment, every)
    effects = effects_of(layout, factors, every, strata)
    first = pd.Series(treatment).drop_duplicates().index
    treatments = layout[list(factors)].iloc[first].reset_index(drop=True)
    groups = comparable_groups(matrix)
    complete = 1 / replication[:, None] + 1 / replication[None, :]
    return LayoutEfficiency(
        treatments=treatments,
        replication=replication,
        canonical_factors=factors_of_comparisons,
        average_factor=harmonic_mean(factors_of_comparisons),
        pairwise_variances=variances,
        mean_variance=float(variances[pairs].mean()),
        mean_variance_complete=float(complete[pairs].mean()),
        groups=groups,
        strata=strata,
        effects=effects,
        warnings=tuple(_warnings(layout, treatments, replication, groups, effects)),
    )


def connected_groups(
    layout: pd.DataFrame, factors: Sequence[str], terms: Sequence[str]
) -> tuple[tuple[tuple[object, ...], ...], ...]:
    """Return the groups of treatments, as their levels, that blockings such as ``"site:block"`` join.

    One group means that the layout is connected.
    """
    treatment = _treatment_codes(layout, factors)
    first = pd.Series(treatment).drop_duplicates().index
    levels = [tuple(row) for row in layout[list(factors)].iloc[first].itertuples(index=False, name=None)]
    groups = comparable_groups(information_matrix(treatment, [labels_of(layout, term) for term in terms]))
    return tuple(tuple(levels[number] for number in group) for group in groups)


def _treatment_codes(layout: pd.DataFrame, factors: Sequence[str]) -> IntArray:
    return codes(list(layout[list(factors)].astype(str).itertuples(index=False, name=None)))


def _warnings(
    layout: pd.DataFrame,
    treatments: pd.DataFrame,
    replication: IntArray,
    groups: tuple[tuple[int, ...], ...],
    effects: Sequence[EffectInformation],
) -> list[LayoutWarning]:
    found = []
    if "site" in layout.columns and layout["site"].nunique() == 1:
        found.append(
            LayoutWarning(
                "one site",
                "There is only one garden, so the answer holds for that garden only.",
                "Add gardens, even with fewer blocks in each.",
            )
        )
    if replication.max() < 2:
        found.append(
            LayoutWarning(
                "no replication",
                "No treatment stands in two buckets, so no difference can be told from chance.",
                "Add blocks or gardens.",
            )
        )
    if len(groups) > 1:
        named = "; ".join(", ".join(_treatment_name(treatments, row) for row in group[:4]) for group in groups[:4])
        found.append(
            LayoutWarning(
                "disconnected",
                f"The layout falls into {len(groups)} groups of treatments that no block compares: {named}.",
                "Add blocks, make them larger, or lay it out anew.",
            )
        )
    return [*found, *(warning for effect in effects for warning in _effect_warnings(effect))]


def _effect_warnings(effect: EffectInformation) -> list[LayoutWarning]:
    name, found = effect_name(effect.effect), []
    if effect.aliased_with:
        others = " and ".join(effect_name(other) for other in effect.aliased_with)
        found.append(
            LayoutWarning(
                "aliased",
                f"The treatments tried cannot tell the effect of {name} from that of {others}.",
                "Add the combinations of levels that are missing.",
            )
        )
    if effect.lost:
        found.append(
            LayoutWarning(
                "missing combinations",
                f"Combinations of levels are missing, so the effect of {name} cannot be estimated"
                + (" in full." if effect.degrees_of_freedom else "."),
                "Add the combinations of levels that are missing.",
            )
        )
    if effect.degrees_of_freedom == 0:
        return found
    if effect.stratum is None:
        found.append(
            LayoutWarning(
                "confounded",
                f"No part of the layout estimates the whole effect of {name}: it is mixed up with blocks.",
                "Make blocks larger, or spread its levels over every block.",
            )
        )
    elif effect.error == 0:
        found.append(
            LayoutWarning(
                "cannot be tested",
                f"The effect of {name} cannot be tested: nothing is left to judge chance by.",
                "Add blocks or gardens.",
            )
        )
    elif effect.error < FEWEST_ERROR_DEGREES:
        differs = _differs_between_sites(effect)
        found.append(
            LayoutWarning(
                "few error degrees of freedom",
                f"The effect of {name} is judged by {'how much it differs between gardens, with ' if differs else ''}"
                f"{effect.error} degrees of freedom for error; below {FEWEST_ERROR_DEGREES} intervals widen fast.",
                "Add gardens: more blocks in each do not help here." if differs else "Add blocks or gardens.",
            )
        )
    if effect.stratum is not None and effect.stratum != BUCKETS and not _differs_between_sites(effect):
        found.append(
            LayoutWarning(
                "confounded",
                f"The effect of {name} is confounded with {stratum_name(effect.stratum)}: it is judged by how much "
                "those differ, not by how much buckets do.",
                "Nothing need be done if that was meant; otherwise spread its levels over every such place.",
            )
        )
    return found


def _differs_between_sites(effect: EffectInformation) -> bool:
    """Tell whether an effect is judged by how much it differs between sites."""
    return effect.stratum is not None and effect.stratum in {f"site:{factor}" for factor in effect.effect.split(":")}


def effect_name(effect: str) -> str:
    """Name an effect in words: ``cultivar:dose_tsp`` is cultivar by dose."""
    return " by ".join(factor.removesuffix("_tsp") for factor in effect.split(":"))


def stratum_name(term: str) -> str:
    """Name the places of a stratum in words: ``site:block:whole_plot`` is whole plots."""
    place = term.split(":")[-1].replace("_", " ")
    return {"site": "gardens"}.get(place, f"{place}s")


def _treatment_name(treatments: pd.DataFrame, row: int) -> str:
    return " ".join(str(value) for value in treatments.iloc[row])

"""How good a layout is, whatever its kind: efficiency, variance of each difference, error, and what to be warned of.

Pure: a frame in, frozen values out. Sources stand where each quantity is computed, `trialkit.layouts.information` and
`trialkit.layouts.randomised_strata`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.domain.errors import WrongCall
from trialkit.layouts.information import canonical_factors, comparable_groups, harmonic_mean, information_matrix
from trialkit.layouts.layout_warning import FEWEST_ERROR_DEGREES, LayoutWarning
from trialkit.layouts.randomised_strata import BUCKETS, EffectInformation, Stratum, effects_of, labels_of, strata_of

WHOLE_PLOT = "whole_plot"


@dataclass(frozen=True)
class LayoutEfficiency:
    """What a layout can tell about its treatments."""

    average_factor: Annotated[
        float, "Harmonic mean of the efficiency factors within blocks: 1 for complete blocks, 0 if disconnected."
    ]
    strata: Annotated[tuple[Stratum, ...], "Degrees of freedom, the coarsest stratum first."]
    effects: Annotated[tuple[EffectInformation, ...], "Where each effect of the factors is estimated."]
    warnings: tuple[LayoutWarning, ...]


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

    Raises
    ------
    WrongCall
        If there are fewer than two treatments.
    """
    treatment = labels_of(layout, ":".join(factors))
    if len(layout) == 0 or treatment.max() == 0:
        raise WrongCall("A layout with one treatment has nothing to compare.")
    terms = [*(["site"] if "site" in layout.columns and "site" not in terms else []), *terms]
    # Whole plots carry a factor: they are an error to judge it by, not a nuisance to be taken out.
    blockings = [labels_of(layout, term) for term in terms if not term.endswith(WHOLE_PLOT)]
    matrix = information_matrix(treatment, blockings)
    replication = np.bincount(treatment)
    repeated = [factor for factor in factors if layout.duplicated(["site", factor]).any()] if effects_differ else []
    every = [*terms, *(f"site:{factor}" for factor in repeated)]
    strata = strata_of(layout, treatment, every)
    effects = effects_of(layout, factors, every, strata)
    first = pd.Series(treatment).drop_duplicates().index
    treatments = layout[list(factors)].iloc[first].reset_index(drop=True)
    warnings = _warnings(layout, treatments, replication, comparable_groups(matrix), effects)
    average = harmonic_mean(canonical_factors(matrix, replication.astype(float)))
    return LayoutEfficiency(average, strata, effects, tuple(warnings))


def connected_groups(
    layout: pd.DataFrame, factors: Sequence[str], terms: Sequence[str]
) -> tuple[tuple[tuple[object, ...], ...], ...]:
    """Return the groups of treatments, as their levels, that blockings such as ``"site:block"`` join.

    One group means that the layout is connected.
    """
    treatment = labels_of(layout, ":".join(factors))
    first = pd.Series(treatment).drop_duplicates().index
    levels = [tuple(row) for row in layout[list(factors)].iloc[first].itertuples(index=False, name=None)]
    groups = comparable_groups(information_matrix(treatment, [labels_of(layout, term) for term in terms]))
    return tuple(tuple(levels[number] for number in group) for group in groups)


def _warnings(
    layout: pd.DataFrame,
    treatments: pd.DataFrame,
    replication: IntArray,
    groups: tuple[tuple[int, ...], ...],
    effects: Sequence[EffectInformation],
) -> list[LayoutWarning]:
    found = []
    if "site" in layout.columns and layout["site"].nunique() == 1:
        found.append(LayoutWarning("one site"))
    if replication.max() < 2:
        found.append(LayoutWarning("no replication"))
    if len(groups) > 1:
        named = tuple(tuple(" ".join(map(str, treatments.iloc[row])) for row in group) for group in groups)
        found.append(LayoutWarning("disconnected", groups=named))
    return [*found, *(warning for effect in effects for warning in _effect_warnings(effect))]


def _effect_warnings(effect: EffectInformation) -> list[LayoutWarning]:
    warn, found = partial(LayoutWarning, effect=effect.effect), []
    if effect.aliased_with:
        found.append(warn("aliased", aliased_with=effect.aliased_with))
    if effect.lost:
        found.append(warn("missing combinations", estimable_in_part=effect.degrees_of_freedom > 0))
    if effect.degrees_of_freedom == 0:
        return found
    differs = effect.stratum in {f"site:{factor}" for factor in effect.effect.split(":")}
    if effect.stratum is None:
        found.append(warn("confounded with blocks"))
    elif effect.error == 0:
        found.append(warn("cannot be tested"))
    elif effect.error < FEWEST_ERROR_DEGREES:
        found.append(warn("few error degrees of freedom", error_df=effect.error, between_sites=differs))
    if effect.stratum is not None and effect.stratum != BUCKETS and not differs:
        found.append(warn("confounded", stratum=effect.stratum))
    return found

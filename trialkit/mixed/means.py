"""Step 7: rows of the model matrix that marginal means, and slopes of a covariate, stand for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Annotated, Any, Literal

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.hypotheses import grid_rows
from trialkit.mixed.model import Model
from trialkit.mixed.refusals import MixedModelError

Weights = Literal["equal", "proportional"] | Mapping[str, Mapping[Any, float]]


@dataclass(frozen=True)
class MeanRows:
    """Rows of the model matrix averaged to the joint levels of some factors."""

    names: Annotated[tuple[str, ...], "The factors."]
    levels: Annotated[tuple[tuple[Any, ...], ...], "Joint levels, the last factor's changing fastest."]
    rows: Annotated[FloatArray, "Shape (joint levels, columns of the model matrix)."]

    @property
    def labels(self) -> tuple[str, ...]:
        """Joint levels as text, ``a:b``."""
        return tuple(":".join(map(str, level)) for level in self.levels)

    @property
    def index(self) -> pd.Index:
        """Index of a table of the joint levels."""
        if len(self.names) == 1:
            return pd.Index([level for (level,) in self.levels], name=self.names[0])
        return pd.MultiIndex.from_tuples(self.levels, names=self.names)


def mean_rows(model: Model, factors: str, weights: Weights = "equal", slope_of: str | None = None) -> MeanRows:
    """Average the reference grid, covariates at their means, over the factors that are not asked for.

    `factors` are joined by ``:``, ``""`` for none; the weights are those of the factors averaged over. With `slope_of`,
    rows of a covariate's slope stand instead of the mean.

    Raises
    ------
    MixedModelError
        If a factor, covariate, level or weight cannot be used.
    """
    names, fixed = tuple(factors.split(":")) if factors else (), model.fixed
    unknown = [name for name in names if name not in fixed.factors]
    if unknown:
        wrong, known = ", ".join(map(repr, unknown)), ", ".join(fixed.factors) or "it has none"
        raise MixedModelError(f"{wrong} is not a factor of the model {fixed.formula.text!r}; its factors: {known}.")
    if len(set(names)) < len(names):
        raise MixedModelError(f"A factor is named twice in {factors!r}.")
    others = [name for name in fixed.factors if name not in names]
    grid = _slope_grid(model, slope_of) if slope_of is not None else grid_rows(fixed)
    shape = [len(levels) for levels in fixed.factors.values()]
    order = [list(fixed.factors).index(name) for name in (*names, *others)]
    levels = tuple(product(*(fixed.factors[name] for name in names)))
    sorted_grid = grid.reshape(*shape, -1).transpose(*order, len(shape))
    share = averaging_weights(model, others, weights)
    averaged = np.einsum("o,aoc->ac", share, sorted_grid.reshape(len(levels), len(share), -1))
    return MeanRows(names, levels, averaged)


def _slope_grid(model: Model, covariate: str) -> FloatArray:
    """Change of the grid's rows for one unit more of a covariate, the other covariates at their means.

    Only column names stand in a formula, so that every row is linear in each covariate.
    """
    fixed = model.fixed
    if covariate not in fixed.covariates:
        known = ", ".join(fixed.covariates) or "it has none"
        raise MixedModelError(
            f"{covariate!r} is not a covariate of the model {fixed.formula.text!r}; its covariates: {known}."
        )
    one, zero = (grid_rows(fixed, {covariate: value}) for value in (1.0, 0.0))
    return one - zero


def averaging_weights(model: Model, others: Sequence[str], weights: Weights) -> FloatArray:
    """Share of every joint level of the factors averaged over, adding up to 1; the last factor's changing fastest."""
    sizes = [len(model.fixed.factors[name]) for name in others]
    if isinstance(weights, Mapping):
        return _given_weights(model, others, weights)
    if weights == "proportional":
        heads = np.bincount(model.fixed_row, model.cells.sizes)
        counts = np.zeros(sizes)
        np.add.at(counts, tuple(model.fixed.codes[name] for name in others), heads if others else heads.sum())
        return np.asarray(counts.ravel() / counts.sum())
    if weights != "equal":
        raise MixedModelError(
            f"{weights!r} is no way to weight: use 'equal', 'proportional', or weights such as {{'site': {{'a': 2}}}}."
        )
    count = int(np.prod(sizes))
    return np.full(count, 1 / count)


def _given_weights(model: Model, others: Sequence[str], weights: Mapping[str, Mapping[Any, float]]) -> FloatArray:
    """Products of each factor's own weights: equal where none are given, zero for levels left out."""
    unused = [name for name in weights if name not in others]
    if unused:
        averaged = ", ".join(others) or "none"
        raise MixedModelError(
            f"Weights were given for {', '.join(map(repr, unused))}, and the factors averaged over are: {averaged}."
        )
    joint = np.ones(1)
    for name in others:
        levels = [str(level) for level in model.fixed.factors[name]]
        given = {str(level): weight for level, weight in weights.get(name, dict.fromkeys(levels, 1.0)).items()}
        unknown = [level for level in given if level not in levels]
        if unknown:
            raise MixedModelError(f"{', '.join(map(repr, unknown))} is no level of {name!r}: {', '.join(levels)}.")
        share = np.array([float(given.get(level, 0.0)) for level in levels])
        if not np.isfinite(share).all() or (share < 0).any() or share.sum() <= 0:
            raise MixedModelError(f"The weights of {name!r} must be numbers at zero or above, not all zero.")
        joint = np.kron(joint, share / share.sum())
    return joint

"""Which contrasts a term of the model stands for (partial, "type III" tests)."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from itertools import product
from math import prod

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.fixed import Coding, FixedDesign, independent_columns


def grid_rows(design: FixedDesign, covariates: dict[str, float] | None = None) -> FloatArray:
    """Model-matrix rows of the reference grid, covariates at the values given or else at their means.

    Shape (combinations, columns).
    """
    return _grid_rows(design.coding, tuple((dict(design.covariates) | (covariates or {})).items()))


@lru_cache(maxsize=64)
def _grid_rows(coding: Coding, covariates: tuple[tuple[str, float], ...]) -> FloatArray:
    """Rows of the grid; those of the data themselves where every combination occurs and there is no covariate."""
    if not covariates and len(coding.matrix) == prod(len(levels) for levels in coding.factors.values()):
        return coding.matrix
    rows = coding.rows(reference_grid(coding, dict(covariates)))
    rows.setflags(write=False)
    return rows


def reference_grid(coding: Coding, covariates: Mapping[str, float]) -> pd.DataFrame:
    """Every combination of factor levels, at given values of the covariates.

    Searle, Speed & Milliken (1980), Am. Stat. 34, 216-221.
    """
    combinations = list(product(*coding.factors.values()))
    columns = zip(*combinations, strict=True) if coding.factors else ()
    frame = {
        name: pd.Categorical(list(values), categories=list(coding.factors[name]))
        for name, values in zip(coding.factors, columns, strict=True)
    }
    return pd.DataFrame(frame | {name: np.full(len(combinations), value) for name, value in covariates.items()})


@lru_cache(maxsize=256)
def term_contrasts(design: FixedDesign, position: int) -> FloatArray:
    """Contrasts that are all zero when a term has no effect, shape (l, columns).

    Differences over the term's factors of the means averaged, with equal weight, over the other factors' levels;
    for the term's covariates the slope, with covariates that are not in the term at zero. Where a combination
    was never tried, only the part that the data determine is kept.
    """
    term = design.formula.terms[position]
    slopes = [name for name in term if name in design.covariates]
    corners = _covariate_contrast(design, slopes)
    weights = np.ones((1, 1))
    for name, levels in design.factors.items():
        own = _differences(len(levels)) if name in term else np.full((1, len(levels)), 1 / len(levels))
        joint = weights[:, None, :, None] * own[:, None]  # the Kronecker product, before it is laid out
        weights = joint.reshape(len(weights) * len(own), weights.shape[1] * len(levels))
    contrasts = _estimable_part(design, weights @ corners)
    contrasts.setflags(write=False)
    return contrasts


def _covariate_contrast(design: FixedDesign, slopes: list[str]) -> FloatArray:
    """Grid rows' coefficient of the product of `slopes`, by differences between covariates at 0 and at 1."""
    zero = dict.fromkeys(design.covariates, 0.0)
    total: FloatArray | float = 0.0
    for corner in product((0.0, 1.0), repeat=len(slopes)):
        sign = (-1) ** (len(slopes) - int(sum(corner)))
        total = total + sign * grid_rows(design, zero | dict(zip(slopes, corner, strict=True)))
    return np.asarray(total)


def _differences(levels: int) -> FloatArray:
    """Each level less the first."""
    differences = np.eye(levels)[1:]
    differences[:, 0] = -1.0
    return differences


def _estimable_part(design: FixedDesign, contrasts: FloatArray) -> FloatArray:
    """Combinations of the contrasts that are estimable, as independent rows."""
    leak = contrasts @ design.null_space
    if np.abs(leak).max(initial=0.0) > 1e-8:
        left, values, _ = np.linalg.svd(leak)
        rank = int((values > 1e-8 * values[0]).sum())
        contrasts = left[:, rank:].T @ contrasts
    if not len(contrasts):
        return contrasts
    return contrasts[independent_columns(contrasts[:, design.kept].T)]

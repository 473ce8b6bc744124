"""Orthogonal designs: strata found by eigen-decomposition, on which tests and their power are classical and exact.

Where the matrices ``Z_i Z_i'`` commute with each other and with the projection on X (Nelder 1965, Proc. R. Soc. A 283,
147-178: general balance, with every treatment effect in one stratum), V has the same eigenspaces whatever the
variances. On each of them, a stratum, V is one number ``xi_s = sum_i lambda_si variance_i``, its restricted
likelihood estimate is the stratum's residual mean square, and an effect in the stratum has exactly the classical F.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.model import Model

MOST_CELLS = 1500
TOLERANCE = 1e-8
PROBES = 3


@dataclass(frozen=True)
class Strata:
    """Strata of an orthogonal design that have a residual."""

    multipliers: Annotated[
        FloatArray,
        "Shape (strata, k). lambda: how often each variance counts in a stratum's, random terms first, the residual "
        "last.",
    ]
    df: Annotated[FloatArray, "Shape (strata,). Residual degrees of freedom."]
    shares: Annotated[
        FloatArray, "Shape (strata, p, p). Projection of the fixed part on each stratum, in the orthogonal basis."
    ]


def find_strata(model: Model) -> Strata | None:
    """Find the strata of a design, or return None where it is not orthogonal or does not fill its strata."""
    sizes, cells = model.cells.sizes, len(model.cells.sizes)
    if cells > MOST_CELLS or np.ptp(sizes) > 0 or len(model.residual.levels) > 1:
        return None
    size = float(sizes[0])
    x = np.sqrt(size) * model.fixed.orthogonal[model.fixed_row]
    codes = [model.terms[i].codes for i in model.in_columns]
    alike = [size * (code[:, None] == code).astype(float) for code in codes]
    if not _commute([*alike, x @ x.T]):
        return None
    # Weights whose sums never coincide by chance tell joint eigenspaces apart.
    weighted = (float(np.sqrt(2 + i) * np.pi**i) * a for i, a in enumerate(alike))
    values, basis = np.linalg.eigh(sum(weighted, np.eye(cells)))
    starts = np.flatnonzero(np.diff(values, prepend=-np.inf) > TOLERANCE * values[-1])
    member = np.zeros((cells, len(starts)))
    for s, columns in enumerate(np.split(np.arange(cells), starts[1:])):
        member[columns, s] = 1.0
    shares = np.stack([(g := basis[:, m > 0].T @ x).T @ g for m in member.T])
    multipliers = np.zeros((len(starts), len(model.terms) + 1))
    for i, a in zip(model.in_columns, alike, strict=True):
        multipliers[:, i] = ((basis * (a @ basis)).sum(0) @ member) / member.sum(0)
    if model.diagonal is not None:
        multipliers[:, model.diagonal] = size
    multipliers[:, -1] = 1.0
    df = member.sum(0) - np.trace(shares, axis1=1, axis2=2)
    return _with_cells(model, Strata(multipliers, df, shares))


def _with_cells(model: Model, strata: Strata) -> Strata | None:
    """Add the stratum within cells, leave out those without residual, and see that each variance has one."""
    within = float(model.heads - len(model.cells.sizes))
    df, multipliers, shares = strata.df.copy(), strata.multipliers, strata.shares
    lowest = np.zeros(multipliers.shape[1])
    lowest[-1] = 1.0
    same = np.flatnonzero((np.abs(multipliers - lowest) < TOLERANCE * model.heads).all(1))
    inner = int(same[0]) if len(same) else len(df)
    if len(same):
        df[inner] += within
    else:
        df = np.append(df, within)
        multipliers = np.vstack([multipliers, lowest])
        shares = np.concatenate([shares, np.zeros((1, *shares.shape[1:]))])
    used = df > 0.5
    filled, count = multipliers[used], int(used.sum())
    if not used[inner] or count != multipliers.shape[1] or np.linalg.matrix_rank(filled) < count:
        return None
    return Strata(filled, np.round(df[used]), shares[used])


def _commute(matrices: list[FloatArray]) -> bool:
    """Whether symmetric matrices do: on a few vectors of no pattern, where others differ almost surely."""
    vectors = np.sin(np.arange(1.0, PROBES * len(matrices[0]) + 1) ** 2).reshape(-1, PROBES)
    once = [a @ vectors for a in matrices]
    return all(
        np.abs((one := a @ b_once) - b @ a_once).max() <= TOLERANCE * np.abs(one).max(initial=1.0)
        for (a, a_once), (b, b_once) in combinations(zip(matrices, once, strict=True), 2)
    )

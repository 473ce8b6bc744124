"""What a layout tells about its treatments once blocks are eliminated: information, efficiency factors, connectedness.

John & Williams (1995), *Cyclic and Computer Generated Designs*, ch. 1-2; James & Wilkinson (1971), *Biometrika*
58:279-294, for canonical efficiency factors (both from memory).
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray, IntArray

ZERO = 1e-8
"""An efficiency factor below this is nil: those of designs that can be grown are simple fractions far above it."""


def codes(labels: Sequence[object] | NDArray[np.generic]) -> IntArray:
    """Number the different labels 0, 1, … in order of appearance; shape (buckets,)."""
    return np.asarray(pd.factorize(pd.Index(labels, tupleize_cols=False))[0], dtype=np.intp)


def incidence(labels: IntArray, count: int | None = None) -> FloatArray:
    """Return which bucket has which label; shape (buckets, labels), ones and zeros."""
    width = int(labels.max()) + 1 if count is None else count
    return np.asarray(np.eye(width)[labels])


def information_matrix(treatment: IntArray, blockings: Sequence[IntArray]) -> FloatArray:
    """Return the information on treatments that is left when blockings are eliminated.

    ``C = R - N K^- N'``, with N the incidence of treatments in all blockings side by side and K that of the blockings
    with each other. Times the inverse of the error variance, C is the information on treatment effects.

    Each bucket has a treatment (0, 1, …) and a label in each blocking (blocks, or rows and columns); without any, only
    the mean is eliminated.
    """
    crossed = _finest(blockings) or [np.zeros_like(treatment)]
    shared = np.hstack([_shared(treatment, labels) for labels in crossed])
    if len(crossed) == 1:  # blocks alone: K is diagonal, however many there are
        left = shared / np.bincount(crossed[0]) @ shared.T
    else:
        joint = np.block([[_shared(one, other) for other in crossed] for one in crossed])
        left = shared @ np.linalg.pinv(joint, hermitian=True) @ shared.T
    return np.asarray(np.diag(np.bincount(treatment)) - left)


def _shared(one: IntArray, other: IntArray) -> FloatArray:
    """Count the buckets that have each pair of labels; shape (labels of one, labels of the other)."""
    shape = int(one.max()) + 1, int(other.max()) + 1
    return np.bincount(one * shape[1] + other, minlength=shape[0] * shape[1]).reshape(shape).astype(float)


def _finest(blockings: Sequence[IntArray]) -> list[IntArray]:
    """Leave out blockings that another one splits further: a garden says nothing that its blocks do not."""
    kept: list[IntArray] = []
    for labels in sorted(map(codes, blockings), key=lambda labels: -int(labels.max())):
        if all(len(np.unique(finer * (labels.max() + 1) + labels)) > finer.max() + 1 for finer in kept):
            kept.append(labels)
    return kept


def without(columns: FloatArray, blockings: Sequence[IntArray]) -> FloatArray:
    """Return columns with the blockings (or, without any, the mean) projected out; shape as `columns`."""
    every = [incidence(labels) for labels in blockings] or [np.ones((len(columns), 1))]
    blocks = np.hstack(every)
    return np.asarray(columns - blocks @ (np.linalg.pinv(blocks.T @ blocks, hermitian=True) @ (blocks.T @ columns)))


def canonical_factors(information: FloatArray, replication: FloatArray) -> FloatArray:
    """Return the canonical efficiency factors, least first.

    The eigenvalues of ``R^-1/2 C R^-1/2`` but for the one that belongs to the mean: the share of the information of an
    orthogonal layout with the same replication that is left on each of t - 1 independent comparisons.

    Each is between 0 and 1, and nil as often as the layout falls into further groups.
    """
    scale = 1 / np.sqrt(replication)
    values = np.linalg.eigvalsh(information * np.outer(scale, scale))[1:]
    return np.asarray(np.where(values < ZERO, 0.0, values))


def harmonic_mean(factors: FloatArray) -> float:
    """Return the average efficiency factor: 0 where a comparison cannot be made."""
    return float(len(factors) / np.sum(1 / factors)) if factors.size and factors.min() > 0 else 0.0


def comparable_groups(information: FloatArray) -> tuple[tuple[int, ...], ...]:
    """Return the groups of treatments within which differences can be estimated; one group if connected.

    Two treatments are comparable where their difference has no part in the null space of the information matrix; this
    holds for rows and columns too, where counting which blocks they share does not suffice.
    """
    values, vectors = np.linalg.eigh(information)
    null = vectors[:, values < ZERO * max(1.0, float(values[-1]))]
    groups: list[list[int]] = []
    for treatment, row in enumerate(null):
        home = next((group for group in groups if np.allclose(null[group[0]], row, atol=1e-6)), None)
        if home is None:
            groups.append([treatment])
        else:
            home.append(treatment)
    return tuple(tuple(group) for group in groups)

"""Degrees of freedom and information, stratum by stratum, of any layout.

Strata are taken from the coarsest on: each is what its blocking explains beyond those before it (Nelder 1965, *Proc. R.
Soc. A* 283:147-178; from memory). The last is that of buckets.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.layouts.information import ZERO, codes, incidence, without

BUCKETS = "bucket"


@dataclass(frozen=True)
class Stratum:
    """One stratum of a layout."""

    term: Annotated[str, '``"site"``, ``"site:block"``, …, or ``"bucket"``.']
    # Degrees of freedom: all, those that treatments take, those left for error.
    total: int
    treatments: int
    error: int


@dataclass(frozen=True)
class EffectInformation:
    """Where a treatment effect is estimated."""

    effect: Annotated[str, "Factor, or factors joined by ``:``."]
    degrees_of_freedom: int
    lost: Annotated[int, "Degrees of freedom that the effect lacks because combinations of levels are missing."]
    shares: Annotated[Mapping[str, float], "Average share of the information on the effect in each stratum."]
    stratum: Annotated[str | None, "The finest stratum that can estimate all of it; None where none can."]
    error: Annotated[int, "Degrees of freedom for error in that stratum."]
    aliased_with: Annotated[tuple[str, ...], "Effects that the treatments tried cannot tell it from."]


def labels_of(layout: pd.DataFrame, term: str) -> IntArray:
    """Number the levels of a term such as ``"site:block"``; shape (buckets,)."""
    return codes(list(layout[term.split(":")].astype(str).itertuples(index=False, name=None)))


def strata_parts(layout: pd.DataFrame, terms: Sequence[str], columns: FloatArray) -> list[tuple[str, int, FloatArray]]:
    """Split columns into their parts by stratum, coarsest first: term, degrees of freedom (if any) and part."""
    parts, blockings, rank = [], [], 1
    rest = without(columns, [])
    for term in terms:
        blockings.append(labels_of(layout, term))
        higher = rank_of(np.hstack([incidence(labels) for labels in blockings]))
        left = without(columns, blockings)
        if higher > rank:
            parts.append((term, higher - rank, rest - left))
        rest, rank = left, higher
    return [*parts, (BUCKETS, len(layout) - rank, rest)]


def rank_of(matrix: FloatArray) -> int:
    """Rank, with a tolerance fit for columns of ones and zeros."""
    return int(np.linalg.matrix_rank(matrix.T @ matrix, tol=1e-7, hermitian=True)) if matrix.size else 0


def strata_of(layout: pd.DataFrame, treatment: IntArray, terms: Sequence[str]) -> tuple[Stratum, ...]:
    """Return the strata with their degrees of freedom, the coarsest first."""
    found = []
    for term, total, part in strata_parts(layout, terms, incidence(treatment)):
        taken = min(rank_of(part), total)
        found.append(Stratum(term, total, taken, total - taken))
    return tuple(found)


def effects_of(
    layout: pd.DataFrame, factors: Sequence[str], terms: Sequence[str], strata: Sequence[Stratum]
) -> tuple[EffectInformation, ...]:
    """Return where each main effect and interaction of the factors is estimated."""
    bases = _effect_bases(layout, factors)
    parts = strata_parts(layout, terms, np.hstack(list(bases.values())))
    ends = np.cumsum([basis.shape[1] for basis in bases.values()])
    error = {stratum.term: stratum.error for stratum in strata}
    found = []
    for (name, basis), end in zip(bases.items(), ends, strict=True):
        own = {term: part[:, end - basis.shape[1] : end] for term, _, part in parts}
        wanted = int(np.prod([layout[factor].astype(str).nunique() - 1 for factor in name.split(":")]))
        aliases = tuple(other for other in bases if other != name and _overlap(basis, bases[other]))
        found.append(_effect(name, wanted - basis.shape[1], own, error, aliases))
    return tuple(found)


def _effect(
    name: str, lost: int, parts: Mapping[str, FloatArray], error: Mapping[str, int], aliases: tuple[str, ...]
) -> EffectInformation:
    shares, stratum, count = {}, None, 0
    for term, part in parts.items():
        values = np.linalg.eigvalsh(part.T @ part)
        count = len(values)
        shares[term] = float(values.mean()) if count else 0.0
        if count and values[0] > ZERO:
            stratum = term
    return EffectInformation(name, count, lost, shares, stratum, error[stratum] if stratum else 0, aliases)


def _overlap(first: FloatArray, second: FloatArray) -> bool:
    """Tell whether two sets of orthonormal columns share a direction."""
    if not first.shape[1] or not second.shape[1]:
        return False
    return bool(np.linalg.svd(first.T @ second, compute_uv=False).max() > 1 - ZERO)


def _effect_bases(layout: pd.DataFrame, factors: Sequence[str]) -> dict[str, FloatArray]:
    """Orthonormal columns of each effect over buckets, rid of the mean and of the effects that it contains.

    An effect that is wholly contained in smaller ones, as where combinations are missing, has no column.
    """
    levels = {factor: incidence(labels_of(layout, factor)) for factor in factors}
    bases: dict[str, FloatArray] = {}
    for size in range(1, len(factors) + 1):
        for chosen in combinations(factors, size):
            columns = np.ones((len(layout), 1))
            for factor in chosen:
                columns = (columns[:, :, None] * levels[factor][:, None, :]).reshape(len(layout), -1)
            inner = [bases[":".join(part)] for n in range(1, size) for part in combinations(chosen, n)]
            bases[":".join(chosen)] = _orthonormal(without(columns, []), inner)
    return bases


def _orthonormal(columns: FloatArray, inner: Sequence[FloatArray]) -> FloatArray:
    if inner:
        smaller = np.hstack(inner)
        columns = columns - smaller @ (np.linalg.pinv(smaller) @ columns)
    left, size, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, size > 1e-7 * max(1.0, float(size.max(initial=0.0)))])

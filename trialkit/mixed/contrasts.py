"""Step 7: families of comparisons, as weights over the levels of what is compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Annotated, Literal

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.refusals import MixedModelError

Family = Literal["all-pairs", "versus", "trend"]

DEGREES = ("linear", "quadratic", "cubic", "quartic", "quintic")


@dataclass(frozen=True)
class Contrasts:
    """Comparisons among k levels."""

    index: Annotated[pd.Index, "Of the table of answers."]
    names: Annotated[tuple[str, ...], "What a message calls each comparison."]
    weights: Annotated[FloatArray, "Shape (comparisons, k)."]


def family_contrasts(family: Family, levels: Sequence[str], reference: str | None) -> Contrasts:
    """Comparisons of a family among levels; `reference` for ``"versus"`` only."""
    if len(levels) < 2:
        raise MixedModelError(f"{levels[0]!r} is the only level: there is nothing to compare.")
    if reference is not None and family != "versus":
        raise MixedModelError(f"A reference goes with 'versus' only: {family!r} has none.")
    if family == "all-pairs":
        return all_pairs(levels)
    if family == "trend":
        return trend(levels)
    if family != "versus":
        raise MixedModelError(f"{family!r} is no family of comparisons: use 'all-pairs', 'versus' or 'trend'.")
    if reference is None:
        raise MixedModelError("Name the reference level that the others are compared with.")
    return versus(levels, reference)


def all_pairs(levels: Sequence[str]) -> Contrasts:
    """Every first less every second level."""
    pairs = list(combinations(range(len(levels)), 2))
    weights = np.zeros((len(pairs), len(levels)))
    for row, (first, second) in enumerate(pairs):
        weights[row, first], weights[row, second] = 1.0, -1.0
    named = [(levels[i], levels[j]) for i, j in pairs]
    index = pd.MultiIndex.from_tuples(named, names=["first", "second"])
    return Contrasts(index, tuple(" - ".join(pair) for pair in named), weights)


def versus(levels: Sequence[str], reference: str) -> Contrasts:
    """Each other level less the reference."""
    if reference not in levels:
        raise MixedModelError(f"{reference!r} is not among the levels: {', '.join(levels)}.")
    at = list(levels).index(reference)
    weights = np.delete(np.eye(len(levels)), at, axis=0)
    weights[:, at] = -1.0
    others = [level for level in levels if level != reference]
    return Contrasts(pd.Index(others, name="level"), tuple(f"{level} - {reference}" for level in others), weights)


def trend(levels: Sequence[str]) -> Contrasts:
    """Orthogonal polynomials in the levels' own numbers, of every degree that the levels allow."""
    try:
        scores = np.array([float(level) for level in levels])
    except ValueError as error:
        raise MixedModelError(
            f"A trend needs levels that are numbers, and these are {', '.join(levels)}. Name the levels by their "
            "doses, or give weights of your own to 'contrasts'."
        ) from error
    weights = orthogonal_polynomials(scores)
    names = tuple(DEGREES[i] if i < len(DEGREES) else f"degree {i + 1}" for i in range(len(weights)))
    return Contrasts(pd.Index(list(names), name="trend"), names, weights)


def named(contrasts: Mapping[str, Mapping[str, float]], levels: Sequence[str]) -> Contrasts:
    """Comparisons that the user wrote down: weights by level, by name; levels left out count nothing."""
    if not contrasts:
        raise MixedModelError("No contrast was given: write them like {'high less low': {'6': 1, '2': -1}}.")
    weights = np.zeros((len(contrasts), len(levels)))
    for row, (name, parts) in enumerate(contrasts.items()):
        for level, weight in parts.items():
            if str(level) not in levels:
                raise MixedModelError(f"{str(level)!r} of {name!r} is not among the levels: {', '.join(levels)}.")
            weights[row, list(levels).index(str(level))] = weight
    if not np.isfinite(weights).all():
        raise MixedModelError("A weight of a contrast is not a number.")
    return Contrasts(pd.Index(list(contrasts), name="contrast"), tuple(map(str, contrasts)), weights)


def orthogonal_polynomials(scores: FloatArray) -> FloatArray:
    """Coefficients of orthogonal polynomials at any spacing, each row of length 1 and rising at the highest score.

    By Forsythe's recurrence (1957, J. Soc. Indust. Appl. Math. 5, 74-88), every row cleaned twice of those before
    it. At equal spacing they are Fisher & Yates' table divided by the root of the sum of squares.

    Scores are in any unit and order; the rows are linear, quadratic, and so on.

    Raises
    ------
    MixedModelError
        If two scores are the same, or one is not finite.

    Examples
    --------
    >>> np.sqrt([[20], [4], [20]]) * orthogonal_polynomials(np.array([2.0, 4.0, 6.0, 8.0])) + 0.0
    array([[-3., -1.,  1.,  3.],
           [ 1., -1., -1.,  1.],
           [-1.,  3., -3.,  1.]])
    """
    if not np.isfinite(scores).all() or len(np.unique(scores)) < len(scores):
        raise MixedModelError(f"A trend needs different, finite scores, and these are {', '.join(map(str, scores))}.")
    middle, half = (scores.max() + scores.min()) / 2, max(np.ptp(scores) / 2, np.finfo(float).tiny)
    position = (scores - middle) / half
    rows = [np.full(len(scores), 1 / np.sqrt(len(scores)))]
    for _ in scores[1:]:
        following = position * rows[-1]
        for _ in range(2):
            following = following - np.array(rows).T @ (np.array(rows) @ following)
        rows.append(following / np.linalg.norm(following))
    return np.array(rows[1:])

"""Step 0: what a random term says: the level of each subject, its slope of a column of numbers, or both, correlated.

============================  ==========================================================================
``subject``                   a level of each subject (``site:block``: of each joint level)
``days by subject``           a slope of days for each subject, independent of everything else
``subject with days``         a level and a slope for each subject, correlated
``subject with days, dose``   a level and two slopes, all three correlated
============================  ==========================================================================

The parts of a term are its level and its slopes. Their variances and covariances are the term's parameters: variances
first, in the order of the parts, then covariances.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.coded_factors import CodedFactor, cross
from trialkit.mixed.refusals import ConfoundedTerm, FormulaError

NOTATION = (
    "write 'subject' for a level, 'days by subject' for a slope, 'subject with days' for both of them, correlated"
)


@dataclass(frozen=True)
class TermText:
    """A random term as read."""

    name: Annotated[str, "As written, single spaces."]
    grouping: Annotated[str, "What has a level or a slope: a column, or several joined by ``:``."]
    level: Annotated[bool, "Whether it has a level."]
    slopes: Annotated[tuple[str, ...], "Columns of numbers that it has slopes of."]

    @property
    def columns(self) -> list[str]:
        """Columns that its grouping names."""
        return self.grouping.split(":")


def read_term(text: str, columns: Collection[str]) -> TermText:
    """Read a random term; a column of the data that is so named comes first.

    Raises
    ------
    FormulaError
        If it cannot be read.
    """
    name = " ".join(text.split())
    if text in columns or all(column in columns for column in text.split(":")):
        return TermText(text, text, True, ())
    if " with " in name:
        grouping, rest = (side.strip() for side in name.split(" with ", 1))
        level, slopes = True, tuple(part.strip() for part in rest.split(","))
    elif " by " in name:
        slope, grouping = (side.strip() for side in name.rsplit(" by ", 1))
        level, slopes = False, (slope,)
    else:
        grouping, level, slopes = text, True, ()
    if "" in (grouping, *slopes) or any(mark in name for mark in "|()+*~"):
        raise FormulaError(f"The random term {text!r} cannot be read: {NOTATION}.")
    if len(set(slopes)) < len(slopes):
        raise FormulaError(f"The random term {text!r} names a slope twice.")
    return TermText(name if slopes else text, grouping, level, slopes)


@dataclass(frozen=True)
class RandomTerm(CodedFactor):
    """A random term on its data: the levels of its grouping, and what each of its parts multiplies."""

    grouping: Annotated[str, "What has a level or a slope, ``a:b`` for joint levels."]
    level: Annotated[bool, "Whether it has a level."]
    slopes: Annotated[tuple[str, ...], "Columns that it has slopes of."]
    values: Annotated[tuple[FloatArray, ...], "Shape (n,) each. Those columns."]

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of the level, if it has one, and the slopes."""
        return (*(["level"] if self.level else []), *self.slopes)

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """Positions of the two parts of each parameter: each with itself, then each pair."""
        parts = range(len(self.parts))
        return (*((i, i) for i in parts), *combinations(parts, 2))

    @property
    def variance_names(self) -> tuple[str, ...]:
        """Names of the parts' variances."""
        return (*([self.grouping] if self.level else []), *(f"{slope} by {self.grouping}" for slope in self.slopes))

    @property
    def covariance_names(self) -> tuple[str, ...]:
        """Names of the covariances: of level and slope ``subject with days``, of two slopes ``a with b by subject``."""
        parts = self.parts
        of_slopes = {(a, b): f"{a} with {b} by {self.grouping}" for a, b in combinations(self.slopes, 2)}
        of_level = {("level", slope): f"{self.grouping} with {slope}" for slope in self.slopes} if self.level else {}
        named = of_slopes | of_level
        return tuple(named[parts[i], parts[j]] for i, j in self.pairs[len(parts) :])

    @cached_property
    def columns(self) -> FloatArray:
        """What each part multiplies, shape (n, parts): 1 for the level."""
        ones = [np.ones(len(self.codes))] if self.level else []
        return np.column_stack([*ones, *self.values])

    def take(self, rows: IntArray) -> RandomTerm:
        """The term on some of its rows, all of whose levels are kept."""
        return RandomTerm(
            self.name,
            self.levels,
            self.codes[rows],
            self.grouping,
            self.level,
            self.slopes,
            tuple(values[rows] for values in self.values),
        )


def random_terms(
    texts: Sequence[TermText], factors: Mapping[str, CodedFactor], numbers: Mapping[str, FloatArray]
) -> list[RandomTerm]:
    """Tie random terms to coded factors and columns of numbers.

    Raises
    ------
    ConfoundedTerm
        If two of them have a variance in common.
    """
    terms = []
    for text in texts:
        joint = cross([factors[column] for column in text.columns])
        values = tuple(numbers[slope] for slope in text.slopes)
        terms.append(RandomTerm(text.name, joint.levels, joint.codes, text.grouping, text.level, text.slopes, values))
    names = [name for term in terms for name in term.variance_names]
    twice = list(dict.fromkeys(name for name in names if names.count(name) > 1))
    if twice:
        named = ", ".join(term.name for term in terms)
        raise ConfoundedTerm(f"A random term is named twice: {', '.join(map(repr, twice))} in {named}.")
    return terms


def covariance_matrix(term: RandomTerm, values: FloatArray) -> FloatArray:
    """Matrix, shape (parts, parts), of a term's variances and covariances, shape (pairs,)."""
    matrix = np.empty((len(term.parts), len(term.parts)))
    for (i, j), value in zip(term.pairs, values, strict=True):
        matrix[i, j] = matrix[j, i] = value
    return matrix

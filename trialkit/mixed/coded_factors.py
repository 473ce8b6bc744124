"""Columns as integer codes: the only form in which the engine looks at labels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray


@dataclass(frozen=True)
class CodedFactor:
    """A column of labels."""

    name: Annotated[str, "Column name, or names joined by ``:`` for joint levels."]
    levels: Annotated[tuple[object, ...], "The levels that occur, in order; the first is the reference."]
    codes: Annotated[IntArray, "Shape (n,). Position of each row's level in `levels`."]


def encode(column: pd.Series) -> CodedFactor:
    """Code a column by its levels: categorical order where there is one, else sorted.

    Levels that do not occur are left out, so that an unused category never becomes an empty column.
    """
    name = str(column.name)
    if not isinstance(column.dtype, pd.CategoricalDtype):
        codes, levels = pd.factorize(column, sort=True)
        return CodedFactor(name, tuple(levels), np.asarray(codes, np.intp))
    levels, codes = column.dtype.categories, np.asarray(column.array.codes, np.intp)
    present = np.bincount(codes, minlength=len(levels)) > 0
    if not present.all():
        levels, codes = levels[present], (present.cumsum() - 1)[codes]
    return CodedFactor(name, tuple(levels.tolist()), codes)


def cross(factors: Sequence[CodedFactor]) -> CodedFactor:
    """Joint levels of several factors, those that occur, labelled ``a:b``, in order of the first factor's levels."""
    if len(factors) == 1:
        return factors[0]
    codes, rows = group_rows([factor.codes for factor in factors])
    labels = zip(*([str(factor.levels[i]) for i in factor.codes[rows]] for factor in factors), strict=True)
    return CodedFactor(":".join(factor.name for factor in factors), tuple(":".join(label) for label in labels), codes)


def group_rows(columns: Sequence[IntArray]) -> tuple[IntArray, IntArray]:
    """Find the rows that share every code.

    Numbers packed integers by hashing rather than comparing rows, so that set-up grows linearly with the number of
    heads.

    Gives the group of each row, numbered in the order of the columns' codes, and one row of each group.
    """
    packed = columns[0].astype(np.int64)
    size = int(packed.max()) + 1
    for column in columns[1:]:
        width = int(column.max()) + 1
        if size > (2**62) // width:
            packed, groups = pd.factorize(packed, sort=True)
            size = len(groups)
        packed = packed * width + column
        size *= width
    numbered, groups = pd.factorize(packed, sort=True)
    codes = np.asarray(numbered, np.intp)
    representatives = np.empty(len(groups), np.intp)
    representatives[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
    return codes, representatives

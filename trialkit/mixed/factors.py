"""Columns as integer codes: the only form in which the engine looks at labels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

IntArray = NDArray[np.intp]


@dataclass(frozen=True)
class Factor:
    """A column of labels.

    Attributes
    ----------
    name : str
        Column name, or names joined by ``:`` for joint levels.
    levels : tuple
        The levels that occur, in order; the first is the reference.
    codes : ndarray of int, shape (n,)
        Position of each row's level in `levels`.
    """

    name: str
    levels: tuple[object, ...]
    codes: IntArray


def encode(column: pd.Series) -> Factor:
    """Code a column by its levels: categorical order where there is one, else sorted.

    Levels that do not occur are left out, so that an unused category never becomes an empty column.
    """
    if isinstance(column.dtype, pd.CategoricalDtype):
        categorical = column.cat.remove_unused_categories()
        return Factor(str(column.name), tuple(categorical.cat.categories), np.asarray(categorical.cat.codes, np.intp))
    codes, levels = pd.factorize(column, sort=True)
    return Factor(str(column.name), tuple(levels), np.asarray(codes, np.intp))


def cross(factors: Sequence[Factor]) -> Factor:
    """Joint levels of several factors, those that occur, labelled ``a:b``, in order of the first factor's levels."""
    if len(factors) == 1:
        return factors[0]
    codes, rows = group_rows([factor.codes for factor in factors])
    labels = zip(*([str(factor.levels[i]) for i in factor.codes[rows]] for factor in factors), strict=True)
    return Factor(":".join(factor.name for factor in factors), tuple(":".join(label) for label in labels), codes)


def group_rows(columns: Sequence[IntArray]) -> tuple[IntArray, IntArray]:
    """Find the rows that share every code.

    Hashes packed integers rather than comparing rows, so that set-up grows linearly with the number of heads.

    Parameters
    ----------
    columns : sequence of ndarray of int, each of shape (n,)

    Returns
    -------
    codes : ndarray of int, shape (n,)
        Group of each row; groups are numbered in the order of the columns' codes.
    representatives : ndarray of int, shape (groups,)
        One row of each group.
    """
    packed = columns[0].astype(np.int64)
    size = int(packed.max()) + 1
    for column in columns[1:]:
        width = int(column.max()) + 1
        if size > (2**62) // width:
            packed = pd.factorize(packed, sort=True)[0].astype(np.int64)
            size = int(packed.max()) + 1
        packed = packed * width + column
        size *= width
    codes, groups = pd.factorize(packed, sort=True)
    representatives = np.empty(len(groups), np.intp)
    representatives[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
    return np.asarray(codes, np.intp), representatives

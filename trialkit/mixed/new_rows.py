"""New rows for a fitted model, read as its data were; all that is wrong with them is told at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.mixed_model_equations import NewRows
from trialkit.mixed.model import Model
from trialkit.mixed.random_terms import RandomTerm
from trialkit.mixed.refusals import MixedModelError

SHOWN = 5


def read_new_rows(
    model: Model, rows: Any, counted: Sequence[str], *, new_head: bool
) -> tuple[NewRows, NDArray[np.bool_]]:
    """Read rows with what a prediction needs; say of which the fixed part is estimable, too.

    `counted` names the random terms that count. For a new head the others count as levels never seen, and so does the
    residual.

    Raises
    ------
    MixedModelError
        If the rows are no frame; lack a column or a value; have a level that the fixed part or the residual variances
        do not know, or something else than numbers in a covariate.
    """
    if not isinstance(rows, pd.DataFrame):
        raise MixedModelError(f"The new rows are of type {type(rows).__name__}: give a pandas DataFrame.")
    fixed, own = model.fixed, model.residual.name if new_head and len(model.residual.levels) > 1 else None
    terms = [term for term in model.terms if new_head or term.name in counted]
    grouping = [name for term in model.terms if term.name in counted for name in term.grouping.split(":")]
    slopes = [name for term in terms for name in term.slopes]
    named = [*fixed.formula.columns, *grouping, *slopes, *([own] if own else [])]
    numbers = list(dict.fromkeys([*fixed.covariates, *slopes]))
    levels = dict(fixed.factors) | ({own: model.residual.levels} if own else {})
    faults = [
        fault for name in dict.fromkeys(named) for fault in _faults(rows, name, name in numbers, levels.get(name))
    ]
    if faults:
        raise MixedModelError(f"The new rows cannot be used. {' '.join(faults)}")
    frame = pd.DataFrame(
        {
            name: pd.Categorical.from_codes(_codes(rows[name], fixed.factors[name]), list(fixed.factors[name]))
            if name in fixed.factors
            else rows[name].to_numpy(float)
            for name in fixed.formula.columns
        },
        index=range(len(rows)),
    )
    matrix = fixed.coding.rows(frame) if len(rows) else np.empty((0, len(fixed.names)))
    return NewRows(
        x=fixed.to_orthogonal(matrix),
        levels=tuple(_levels(rows, term, term.name in counted, new_head) for term in model.terms),
        parts=tuple(_parts(rows, term, term in terms) for term in model.terms),
        residual=_residual(model, rows, own) if new_head else None,
    ), fixed.estimable(matrix)


def _faults(rows: pd.DataFrame, name: str, is_number: bool, levels: Sequence[Any] | None) -> list[str]:
    """What is wrong with a column."""
    if name not in rows:
        return [f"There is no column {name!r}."]
    column = rows[name]
    faults, missing = [], column.isna().to_numpy()
    if missing.any():
        faults.append(f"Column {name!r} lacks a value in row {_shown(column.index[missing])}.")
    if is_number:
        if not pd.api.types.is_numeric_dtype(column.dtype) or pd.api.types.is_bool_dtype(column.dtype):
            return [*faults, f"Column {name!r} must be numbers, as in the data of the fit; it is {column.dtype}."]
        infinite = np.isinf(column.to_numpy(float, na_value=np.nan))
        if infinite.any():
            faults.append(f"Column {name!r} is infinite in row {_shown(column.index[infinite])}.")
    elif levels is not None:
        unknown = (_codes(column, levels) < 0) & ~missing
        if unknown.any():
            found = list(dict.fromkeys(column[unknown].map(repr)))
            faults.append(
                f"Column {name!r} has {_shown(found)} in row {_shown(column.index[unknown])}, which the data of the "
                f"fit did not have; they had {_shown(levels, 20)}."
            )
    return faults


def _shown(values: Sequence[Any] | pd.Index, most: int = SHOWN) -> str:
    texts = [str(value) for value in values[:most]]
    return ", ".join(texts) + (f" and {len(values) - most} more" if len(values) > most else "")


def _codes(column: pd.Series, levels: Sequence[Any]) -> IntArray:
    """Position of each value among levels, as text; -1 where it is not one of them."""
    return _positions(map(str, column), levels)


def _positions(texts: Iterable[str], levels: Sequence[Any]) -> IntArray:
    return np.asarray(pd.Index([str(level) for level in levels]).get_indexer(pd.Index(list(texts))), np.intp)


def _levels(rows: pd.DataFrame, term: RandomTerm, counts: bool, new_head: bool) -> IntArray | None:
    if not counts:
        return np.full(len(rows), -1) if new_head else None
    columns = [map(str, rows[name]) for name in term.grouping.split(":")]
    return _positions((":".join(level) for level in zip(*columns, strict=True)), term.levels)


def _parts(rows: pd.DataFrame, term: RandomTerm, counts: bool) -> FloatArray:
    """What the level and slopes of a term take, shape (n, parts)."""
    if not counts:
        return np.zeros((len(rows), len(term.parts)))
    ones = [np.ones(len(rows))] if term.level else []
    return np.column_stack([*ones, *(rows[name].to_numpy(float) for name in term.slopes)])


def _residual(model: Model, rows: pd.DataFrame, own: str | None) -> IntArray:
    return np.zeros(len(rows), np.intp) if own is None else _codes(rows[own], model.residual.levels)

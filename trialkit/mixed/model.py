"""A model tied to data: rows used, cells, fixed part, random terms, blocks. Knows the response only as a column."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate
from typing import Annotated

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.blocks import Blocks, independent_blocks
from trialkit.mixed.coded_factors import CodedFactor, encode, group_rows
from trialkit.mixed.collapsed_cells import Cells, collapse, diagonal_term
from trialkit.mixed.fixed import FixedDesign, Formula, fixed_design, parse_formula
from trialkit.mixed.products import CrossProducts, DesignProducts, add_responses, design_products
from trialkit.mixed.random_terms import RandomTerm, random_terms, read_term
from trialkit.mixed.refusals import ConfoundedTerm, FormulaError, NoVariation

EPS = float(np.finfo(float).eps)


@dataclass(frozen=True)
class Model:
    """A mixed model on its data, before any response is looked at."""

    fixed: FixedDesign
    fixed_row: Annotated[IntArray, "Shape (cells,). Row of the fixed design that each cell has."]
    terms: Annotated[tuple[RandomTerm, ...], "Random terms, coded by cell."]
    diagonal: Annotated[int | None, "Position of the term with one level a cell."]
    residual: Annotated[
        CodedFactor, "What has a residual variance of its own, coded by cell; one level unless asked otherwise."
    ]
    cells: Cells
    blocks: Blocks
    row_labels: Annotated[pd.Index, "Labels of the rows used."]
    dropped: Annotated[int, "Rows left out because a value was missing."]

    @property
    def heads(self) -> int:
        """Rows used."""
        return len(self.cells.codes)

    @property
    def variance_names(self) -> tuple[str, ...]:
        """Names of the variances: the random terms' parts, then ``residual``, or one for each of its levels."""
        return (*(name for term in self.terms for name in term.variance_names), *self._residual_names)

    @property
    def parameter_names(self) -> tuple[str, ...]:
        """Names of all parameters of the covariance, in their order: each term's variances, then its covariances."""
        return (*(n for t in self.terms for n in (*t.variance_names, *t.covariance_names)), *self._residual_names)

    @property
    def covariance_names(self) -> tuple[str, ...]:
        """Names of the covariances between parts of a random term."""
        return tuple(name for term in self.terms for name in term.covariance_names)

    @cached_property
    def parameter_slices(self) -> tuple[slice, ...]:
        """Positions of each random term's variances and covariances among the parameters."""
        ends = list(accumulate(len(term.pairs) for term in self.terms))
        return tuple(slice(end - len(term.pairs), end) for end, term in zip(ends, self.terms, strict=True))

    @property
    def has_slopes(self) -> bool:
        """Whether a random term has a slope."""
        return any(term.slopes for term in self.terms)

    @property
    def _residual_names(self) -> list[str]:
        levels = self.residual.levels
        return ["residual"] if len(levels) == 1 else [f"residual:{level}" for level in levels]

    @property
    def in_columns(self) -> tuple[int, ...]:
        """Positions of the random terms that have columns in Z."""
        return tuple(i for i in range(len(self.terms)) if i != self.diagonal)

    @cached_property
    def design(self) -> DesignProducts:
        """Cross-products of the design alone."""
        x = self.fixed.orthogonal[self.fixed_row]
        return design_products(x, self.terms, self.diagonal, self.blocks, self.cells.sizes, self.residual.codes)

    def residual_sums(self, values: FloatArray) -> FloatArray:
        """Sum values, shape (r, rows used), under each residual variance, shape (r, residual variances)."""
        if len(self.residual.levels) == 1:
            return np.asarray(values.sum(1, keepdims=True))
        return values @ np.eye(len(self.residual.levels))[self.residual.codes[self.cells.codes]]

    def cross_products(self, prepared: Prepared) -> CrossProducts:
        """Cross-products of the design with prepared responses."""
        return add_responses(self.design, prepared.means, prepared.within, self.blocks, self.cells.sizes)


@dataclass(frozen=True)
class Prepared:
    """Responses less their ordinary least squares fits, in units of their residual standard deviations.

    What the variances see does not change, and an offset of 1e8 or a unit of 1e6 no longer costs digits.
    """

    means: Annotated[FloatArray, "Shape (r, cells)."]
    within: Annotated[
        FloatArray, "Shape (r, residual variances). Sums of squares within cells, in squared units of `scale`."
    ]
    scale: Annotated[FloatArray, "Shape (r,)."]
    fitted: Annotated[
        FloatArray,
        "Shape (r, p). Ordinary least squares coefficients of the responses less `offset`, in the orthogonal basis.",
    ]
    freedom: Annotated[int, "Degrees of freedom of those fits, N - p."]
    offset: Annotated[FloatArray, "Shape (r,). Constant taken off each response first."]
    constant: Annotated[FloatArray, "Shape (p,). Coefficients of a response that is 1 throughout."]

    def take(self, which: NDArray[np.bool_]) -> Prepared:
        """Keep some of the responses."""
        kept = {name: getattr(self, name)[which] for name in ("means", "within", "scale", "fitted", "offset")}
        return replace(self, **kept)


def build_model(
    data: pd.DataFrame, text: str, random: Sequence[str], residual_by: str | None = None
) -> tuple[Model, FloatArray]:
    """Tie a formula and random terms to data; give the response of the rows used too.

    `residual_by` names what has a residual variance of its own.

    Raises
    ------
    FormulaError
        If the formula or a column cannot be used.
    ConfoundedTerm
        If a random term repeats another, or is the residual.
    """
    tied = _tie(data, text, random, [residual_by] if residual_by else [])
    one = CodedFactor("residual", ("",), np.zeros(len(tied.labels), np.intp))
    residual = tied.coded[residual_by] if residual_by else one
    cells, fixed, fixed_row, by_cell = tied.collapsed([residual.codes])
    diagonal = diagonal_term(by_cell, cells)
    blocks = independent_blocks([t for i, t in enumerate(by_cell) if i != diagonal], len(cells.sizes))
    by_residual = CodedFactor(residual.name, residual.levels, residual.codes[cells.representatives])
    dropped = len(data) - len(tied.labels)
    model = Model(fixed, fixed_row, by_cell, diagonal, by_residual, cells, blocks, tied.labels, dropped)
    return model, tied.response


def build_counts_model(
    data: pd.DataFrame, text: str, random: Sequence[str], trials: str | None
) -> tuple[Model, FloatArray, FloatArray]:
    """Tie a formula and random terms to counts; give the successes and trials of the rows used too.

    Every random term has columns in Z, and may have a level for every row: counts have no residual of their own. Rows
    without a trial are left out.

    Raises
    ------
    FormulaError
        As from `build_model`; also if the response is no whole number from 0 to the trials.
    ConfoundedTerm
        If a random term repeats another, or has a level for every trial.
    """
    if trials is not None and trials in data and _is_covariate(data[trials]):
        data = data.assign(**{trials: data[trials].where(data[trials] != 0)})
    tied = _tie(data, text, random, [trials] if trials else [])
    number = tied.columns[trials] if trials else pd.Series(1.0, tied.labels)
    if not _is_covariate(number):
        raise FormulaError(f"The trials {trials!r} must be a column of numbers.")
    successes, of = tied.response, number.to_numpy(float)
    wrong = np.flatnonzero(
        (successes != np.round(successes)) | (of != np.round(of)) | (successes < 0) | (successes > of)
    )
    if len(wrong):
        row = wrong[0]
        raise FormulaError(
            f"Row {tied.labels[row]!r} has {successes[row]:g} successes of {of[row]:g} trials: give whole numbers, "
            f"successes from 0 to the trials{'' if trials else ', and name a column of trials if there are more'}."
        )
    for term in tied.terms:
        if term.slopes:
            raise FormulaError(f"The random term {term.name!r} has a slope, and counts have levels only: leave it out.")
        if np.bincount(term.codes, of).max() <= 1:
            raise ConfoundedTerm(
                f"The random term {term.name!r} has a level for every trial, so that it cannot show: leave it out."
            )
    cells, fixed, fixed_row, by_cell = tied.collapsed([])
    blocks = independent_blocks(by_cell, len(cells.sizes))
    none = CodedFactor("residual", ("",), np.zeros(len(cells.sizes), np.intp))
    dropped = len(data) - len(tied.labels)
    return Model(fixed, fixed_row, by_cell, None, none, cells, blocks, tied.labels, dropped), successes, of


@dataclass(frozen=True)
class _Tied:
    """A formula and random terms on the rows that lack nothing."""

    formula: Formula
    columns: dict[str, pd.Series]
    response: FloatArray
    labels: pd.Index
    coded: dict[str, CodedFactor]
    covariates: dict[str, FloatArray]
    terms: list[RandomTerm]

    def collapsed(self, also: Sequence[IntArray]) -> tuple[Cells, FixedDesign, IntArray, tuple[RandomTerm, ...]]:
        """Cells of rows alike, in other codes too; the fixed part, its row by cell, and the random terms by cell."""
        factors = {name: self.coded[name] for name in self.formula.columns if name not in self.covariates}
        codes = {name: np.unique(values, return_inverse=True)[1] for name, values in self.covariates.items()}
        fixed_codes = [factors[n].codes if n in factors else codes[n] for n in self.formula.columns]
        constant = [] if fixed_codes or self.terms or also else [np.zeros(len(self.labels), np.intp)]
        slopes = {id(values): values for term in self.terms for values in term.values}
        slope_codes = [np.unique(values, return_inverse=True)[1] for values in slopes.values()]
        cells = collapse([*fixed_codes, *(t.codes for t in self.terms), *slope_codes, *also, *constant])
        rows = cells.representatives
        by_cell = [codes[rows] for codes in fixed_codes]
        fixed, fixed_row = _fixed_part(self.formula, factors, self.covariates, by_cell, cells)
        terms = tuple(term.take(rows) for term in self.terms)
        _refuse_repeated(terms)
        return cells, fixed, fixed_row, terms


def _tie(data: pd.DataFrame, text: str, random: Sequence[str], also: Sequence[str]) -> _Tied:
    """Find the columns that a formula, random terms and whatever else is named need, factors coded."""
    formula = parse_formula(text)
    texts = [read_term(term, data.columns) for term in random]
    grouping = [column for term in texts for column in term.columns]
    slopes = [column for term in texts for column in term.slopes]
    columns, response, labels = _complete_rows(data, [formula.response, *formula.columns, *grouping, *slopes, *also])
    numbers = {n: columns[n].to_numpy(float) for n in (*formula.columns, *slopes) if _is_covariate(columns[n])}
    _require_numbers(slopes, numbers)
    covariates = {name: numbers[name] for name in formula.columns if name in numbers}
    as_factors = [name for name in formula.columns if name not in covariates]
    coded = {name: encode(columns[name]) for name in dict.fromkeys([*as_factors, *grouping, *also])}
    return _Tied(formula, columns, response, labels, coded, covariates, random_terms(texts, coded, numbers))


def starting_variances(model: Model) -> FloatArray:
    """Equal parts of the (scaled) total for every term and the residual, shape (k,)."""
    return np.full(len(model.variance_names), 1 / (len(model.terms) + 1))


def prepare(model: Model, responses: FloatArray) -> Prepared:
    """Take the ordinary least squares fit off responses, shape (r, rows used), and scale what is left.

    Raises
    ------
    NoVariation
        If the fixed part leaves no degrees of freedom, or no variation, to estimate a variance from.
    """
    x, sizes = model.fixed.orthogonal[model.fixed_row], model.cells.sizes
    freedom = model.heads - x.shape[1]
    if freedom < 1:
        raise NoVariation(
            f"{model.heads} rows for {x.shape[1]} fixed effects: none is left to estimate a variance from."
        )
    constant = x.T @ sizes
    # The smallest value is taken off first: differences of near numbers are exact (Sterbenz 1974), means are not.
    has_constant = np.abs(x @ constant - 1).max() < 1e-9
    offset = responses.min(1) if has_constant else np.zeros(len(responses))
    means, deviations = model.cells.means(responses - offset[:, None])
    within = model.residual_sums(deviations**2)
    fitted = (sizes * means) @ x
    left = means - fitted @ x.T
    left -= ((sizes * left) @ x) @ x.T
    total = (left**2) @ sizes + within.sum(1)
    if (total <= _rounding(responses, offset)).any():
        raise NoVariation("The response does not vary beyond the fixed part: no variance can be estimated.")
    scale = np.sqrt(total / freedom)
    return Prepared(left / scale[:, None], within / scale[:, None] ** 2, scale, fitted, freedom, offset, constant)


def _rounding(responses: FloatArray, offset: FloatArray) -> FloatArray:
    """Sum of squares that rounding alone leaves: of the values as they were read, and of the arithmetic."""
    centred = responses - offset[:, None]
    return np.asarray((4 * EPS) ** 2 * (responses**2).sum(1) + (32 * EPS) ** 2 * (centred**2).sum(1))


def _complete_rows(data: pd.DataFrame, names: Sequence[str]) -> tuple[dict[str, pd.Series], FloatArray, pd.Index]:
    """Columns of these names on the rows that lack nothing; the first, the response, as numbers; those rows' labels."""
    unknown = [name for name in dict.fromkeys(names) if name not in data.columns]
    if unknown:
        raise FormulaError(f"No column named {', '.join(map(repr, unknown))} in the data.")
    columns, labels = {name: data[name] for name in dict.fromkeys(names)}, data.index
    missing = np.logical_or.reduce([pd.isna(column.array) for column in columns.values()])
    if missing.any():
        columns, labels = {name: column[~missing] for name, column in columns.items()}, labels[~missing]
    if labels.empty:
        raise NoVariation("No row is complete: every one lacks a value that the model needs.")
    if not _is_covariate(columns[names[0]]):
        raise FormulaError(f"The response {names[0]!r} must be a column of numbers.")
    response = columns[names[0]].to_numpy(float)
    if not np.isfinite(response).all():
        raise FormulaError(f"The response {names[0]!r} has an infinite value.")
    return columns, response, labels


def _is_covariate(column: pd.Series) -> bool:
    return pd.api.types.is_numeric_dtype(column.dtype) and not pd.api.types.is_bool_dtype(column.dtype)


def _require_numbers(slopes: Sequence[str], numbers: Mapping[str, FloatArray]) -> None:
    """Refuse a slope of what is no number."""
    for name in slopes:
        if name not in numbers:
            raise FormulaError(
                f"A slope of {name!r} is asked for, which is no column of numbers. If it is a factor, let its levels "
                f"differ from group to group by a joint term, such as 'subject:{name}'."
            )
        if not np.isfinite(numbers[name]).all():
            raise FormulaError(f"{name!r}, of which a slope is asked for, has an infinite value.")


def _fixed_part(
    formula: Formula,
    factors: dict[str, CodedFactor],
    covariates: dict[str, FloatArray],
    cell_codes: list[IntArray],
    cells: Cells,
) -> tuple[FixedDesign, IntArray]:
    """Build the fixed design on its distinct rows, and tell which of them each cell has."""
    rows = cells.representatives
    fixed_row, distinct = group_rows(cell_codes) if cell_codes else (np.zeros(len(rows), np.intp), np.zeros(1, np.intp))
    heads = rows[distinct]
    weights = np.asarray(np.bincount(fixed_row, cells.sizes), float)
    chosen = [CodedFactor(f.name, f.levels, f.codes[heads]) for f in factors.values()]
    design = fixed_design(formula, chosen, {n: values[heads] for n, values in covariates.items()}, weights)
    return design, fixed_row


def _refuse_repeated(terms: Sequence[RandomTerm]) -> None:
    """Two terms that group the rows alike would share one variance between them in any proportion."""
    levels = [term for term in terms if term.level]
    for i, first in enumerate(levels):
        for second in levels[i + 1 :]:
            if len(first.levels) != len(second.levels):
                continue
            if len(group_rows([first.codes, second.codes])[1]) == len(first.levels):
                raise ConfoundedTerm(
                    f"The random terms {first.name!r} and {second.name!r} group the rows alike: keep one of them."
                )

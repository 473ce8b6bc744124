"""The fixed part of the model: formula, model matrix, what is estimable."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Annotated, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.coded_factors import CodedFactor
from trialkit.mixed.refusals import FormulaError

# A column counts as a combination of earlier ones when less than this share of its length is left over.
ALIAS_TOLERANCE = 1e-9


MAY_STAND = (
    "Between column names may stand: + (and), : (joint levels), * (both and their joint levels), / (levels within), "
    "- (without), brackets, and ^2 (all pairs)."
)


@dataclass(frozen=True)
class Formula:
    """A parsed model formula."""

    text: Annotated[str, "As it was written."]
    response: Annotated[str, "Column of the response."]
    terms: Annotated[
        tuple[tuple[str, ...], ...], "Columns of each term, in the order of the model matrix; the intercept is ``()``."
    ]
    right_side: Annotated[Any, "What formulaic made of the right side; `text` says it all."] = field(compare=False)

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns that the right side names, each once."""
        return tuple(dict.fromkeys(column for term in self.terms for column in term))


@lru_cache(maxsize=256)
def parse_formula(text: str) -> Formula:
    """Read a formula such as ``weight_g ~ cultivar * dose``.

    Only column names may stand in it. A transformed column (a square, a logarithm) is made in the data first:
    the reference grid of the means must know every column's values.

    Raises
    ------
    FormulaError
        If the formula cannot be read, has no single response, or names a function.
    """
    from formulaic import Formula as Parsed
    from formulaic.errors import FormulaicError

    strange = _strange_signs(text)
    if strange:
        raise FormulaError(
            f"The formula {text!r} has {' and '.join(map(repr, strange))}. {MAY_STAND} Random terms stand in a list of "
            "their own, such as random=['block']."
        )
    try:
        parsed = Parsed(text)
        left, right = list(parsed.lhs), parsed.rhs
    except (FormulaicError, AttributeError) as error:
        raise FormulaError(
            f"The formula {text!r} cannot be read: write it like 'weight_g ~ cultivar * dose'. {MAY_STAND}"
        ) from error
    if len(left) != 1 or len(left[0].factors) != 1:
        raise FormulaError(f"The formula {text!r} needs one response column on its left.")
    for factor in (factor for term in (*left, *right) for factor in term.factors):
        if factor.eval_method.value == "python":
            raise FormulaError(f"{factor.expr!r} is not a column name: make a column of it first, then name that.")
    terms = tuple(tuple(str(f.expr) for f in term.factors if f.eval_method.value == "lookup") for term in right)
    return Formula(text, str(next(iter(left[0].factors)).expr), terms, right)


def _strange_signs(text: str) -> list[str]:
    """Signs that no formula of ours has, each once; a name within backquotes may hold any."""
    plain = re.sub("`[^`]*`", "", text)
    return list(dict.fromkeys(re.findall(r"\|\|?|[=<>!&@$?;\[\]{}'\"]+", plain)))


@dataclass(frozen=True, eq=False)
class Coding:
    """How the columns of the fixed part are coded; compared by identity, so that what follows can be remembered."""

    formula: Formula
    factors: Annotated[Mapping[str, tuple[object, ...]], "Levels of each factor."]
    codes: Annotated[Mapping[str, IntArray], "Shape (distinct rows,). Level of each factor that a distinct row has."]
    covariates: Annotated[Mapping[str, FloatArray], "Shape (distinct rows,)."]
    matrix: Annotated[FloatArray, "Shape (distinct rows, columns). Model matrix, in order of the factors' codes."]
    names: Annotated[tuple[str, ...], "Its columns."]
    slices: Annotated[tuple[slice, ...], "Columns of each term."]
    specification: Annotated[Any, "How formulaic coded it."] = field(compare=False)

    def rows(self, frame: pd.DataFrame) -> FloatArray:
        """Model-matrix rows, shape (n, columns), of a frame, coded alike."""
        return np.asarray(self.specification.get_model_matrix(frame, output="numpy"), float)


@dataclass(frozen=True, eq=False)
class FixedDesign:
    """The fixed part on the distinct rows of its columns; compared by identity, as its coding is."""

    formula: Formula
    # Levels of each factor; overall mean of each covariate over the rows used.
    factors: Mapping[str, tuple[object, ...]]
    covariates: Mapping[str, float]
    names: Annotated[tuple[str, ...], "Every column of the model matrix, aliased ones included."]
    slices: Annotated[tuple[slice, ...], "Columns of each term, in the order of `formula.terms`."]
    kept: Annotated[IntArray, "Shape (p,). Columns that are not aliased."]
    triangle: Annotated[
        FloatArray, "Shape (p, p). R of the orthogonal basis Xq = X R^-1, with Xq'Xq = I over the heads."
    ]
    orthogonal: Annotated[FloatArray, "Shape (distinct rows, p). Xq on the distinct rows."]
    null_space: Annotated[
        FloatArray, "Shape (columns, aliased). A contrast is estimable where it is orthogonal to these."
    ]
    coding: Annotated[Coding, "How the columns are coded, so that new rows are coded as the data were."]
    codes: Annotated[Mapping[str, IntArray], "Shape (distinct rows,). Level of each factor that a distinct row has."]

    @property
    def aliased(self) -> tuple[str, ...]:
        """Columns dropped because earlier ones already say the same."""
        return tuple(name for i, name in enumerate(self.names) if i not in set(self.kept))

    def estimable(self, contrasts: FloatArray) -> NDArray[np.bool_]:
        """Tell which contrasts, shape (k, columns), the data determine."""
        if not self.null_space.shape[1]:
            return np.ones(len(contrasts), bool)
        size = np.abs(contrasts).max(axis=1, initial=0.0)
        return np.asarray(np.abs(contrasts @ self.null_space).max(axis=1, initial=0.0) <= 1e-8 * np.maximum(size, 1.0))

    def to_orthogonal(self, contrasts: FloatArray) -> FloatArray:
        """Express estimable contrasts, shape (k, columns), in the orthogonal basis: L R^-1, shape (k, p)."""
        return np.asarray(np.linalg.solve(self.triangle.T, contrasts[:, self.kept].T).T)


def fixed_design(
    formula: Formula, factors: Sequence[CodedFactor], covariates: Mapping[str, FloatArray], weights: FloatArray
) -> FixedDesign:
    """Build the fixed part from the distinct rows of its columns, each weighing as many heads as it stands for.

    Raises
    ------
    FormulaError
        If the model has no column.
    """
    coding = _coding(
        formula.text,
        tuple((f.name, f.levels, f.codes.tobytes()) for f in factors),
        tuple((name, values.tobytes()) for name, values in covariates.items()),
        len(weights),
    )
    if coding.matrix.shape[1] == 0:
        raise FormulaError("The model has no fixed effect: keep at least the intercept.")
    return _weighted_design(coding, weights.tobytes())


@lru_cache(maxsize=64)
def _weighted_design(coding: Coding, weight_bytes: bytes) -> FixedDesign:
    """Make the coded rows orthonormal over the heads that they stand for; remembered as the coding is."""
    weights = np.frombuffer(weight_bytes, np.float64)
    root = np.sqrt(weights)[:, None]
    weighted = root * coding.matrix
    kept = independent_columns(weighted)
    basis, triangle = np.linalg.qr(weighted[:, kept])
    return FixedDesign(
        formula=coding.formula,
        factors=coding.factors,
        covariates={name: float(np.average(values, weights=weights)) for name, values in coding.covariates.items()},
        names=coding.names,
        slices=coding.slices,
        kept=kept,
        triangle=triangle,
        orthogonal=basis / root,
        null_space=_null_space(coding.matrix, kept),
        coding=coding,
        codes=coding.codes,
    )


@lru_cache(maxsize=64)
def _coding(
    text: str,
    factors: tuple[tuple[str, tuple[object, ...], bytes], ...],
    covariates: tuple[tuple[str, bytes], ...],
    rows: int,
) -> Coding:
    """Coding of the distinct rows; remembered, since one design is fitted to many responses."""
    formula, codes = parse_formula(text), {name: np.frombuffer(each, np.intp) for name, _, each in factors}
    numbers = {name: np.frombuffer(values, np.float64) for name, values in covariates}
    columns = {name: pd.Categorical.from_codes(codes[name], categories=list(levels)) for name, levels, _ in factors}
    frame = pd.DataFrame(columns | numbers, index=range(rows))
    levels_of = {name: levels for name, levels, _ in factors}
    materialised = formula.right_side.get_model_matrix(frame, output="numpy", na_action="ignore")
    matrix, specification = np.asarray(materialised, float), materialised.model_spec
    names, slices = tuple(specification.column_names), tuple(specification.term_slices.values())
    matrix.setflags(write=False)
    return Coding(formula, levels_of, codes, numbers, matrix, names, slices, specification)


def independent_columns(matrix: FloatArray) -> IntArray:
    """Positions of the columns that are no combination of earlier ones (the first of an aliased set is kept).

    Gram-Schmidt, each column cleaned twice: Giraud, Langou & Rozloznik (2005), "twice is enough".
    """
    basis, kept = np.empty((matrix.shape[0], 0)), []
    for j, column in enumerate(matrix.T):
        rest = column - basis @ (basis.T @ column)
        rest -= basis @ (basis.T @ rest)
        length = float(np.linalg.norm(rest))
        if length > ALIAS_TOLERANCE * float(np.linalg.norm(column)):
            basis = np.column_stack([basis, rest / length])
            kept.append(j)
    return np.array(kept, np.intp)


def _null_space(matrix: FloatArray, kept: IntArray) -> FloatArray:
    if len(kept) == matrix.shape[1]:
        return np.empty((len(kept), 0))
    dropped = np.delete(np.arange(matrix.shape[1]), kept)
    vectors = np.zeros((matrix.shape[1], len(dropped)))
    vectors[kept] = np.linalg.lstsq(matrix[:, kept], matrix[:, dropped], rcond=None)[0]
    vectors[dropped, np.arange(len(dropped))] = -1.0
    return vectors

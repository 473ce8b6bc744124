"""`fit_mixed` and what can be asked of a fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from trialkit.mixed.comparisons import ADJUSTMENTS, Adjustment, Family, all_pairs, comparison_table, versus
from trialkit.mixed.diagnostics import RowInverse, leave_one_out, row_inverse
from trialkit.mixed.errors import MixedModelError, NotEstimable
from trialkit.mixed.factors import Factor
from trialkit.mixed.hypotheses import reference_grid, term_contrasts
from trialkit.mixed.likelihood import Evaluation, evaluate
from trialkit.mixed.model import Model, Prepared, build_model, prepare, starting_variances
from trialkit.mixed.prediction import (
    CellInverse,
    Predicted,
    cell_inverse,
    predict_columns,
    predict_diagonal,
    simulate_responses,
)
from trialkit.mixed.products import CrossProducts
from trialkit.mixed.scoring import FitRecord, maximise, refuse_confounded, require_converged
from trialkit.mixed.small_sample import SmallSample, small_sample, variance_covariance
from trialkit.mixed.strata import Strata, find_strata
from trialkit.mixed.woodbury import Solved, solve

FloatArray = NDArray[np.float64]


def fit_mixed(
    data: pd.DataFrame,
    formula: str,
    random: Sequence[str] = (),
    *,
    bounds: Literal["nonnegative", "strata"] = "nonnegative",
    method: Literal["reml", "ml"] = "reml",
    residual_by: str | None = None,
) -> MixedFit:
    """Fit a linear mixed model with independent variance components.

    ``y = X b + sum_k Z_k u_k + e``, by restricted maximum likelihood (Patterson & Thompson 1971, Biometrika 58,
    545-554).

    Parameters
    ----------
    data : pandas.DataFrame
        One row a head. Number columns in the formula are covariates; every other kind is a factor, its levels in
        categorical order, else sorted, the first the reference. Rows with a missing value are dropped and counted.
    formula : str
        Response and fixed part, such as ``"weight_g ~ cultivar * dose"``; column names only.
    random : sequence of str
        Random terms: columns, or ``"a:b"`` for joint levels.
    bounds : {"nonnegative", "strata"}
        Hold variances at zero or above, or leave them free as long as V stays positive definite: a balanced trial
        then gives exactly the classical analysis of variance.
    method : {"reml", "ml"}
    residual_by : str, optional
        Column whose levels each have a residual variance of their own, such as the site.

    Returns
    -------
    MixedFit

    Raises
    ------
    FormulaError, ConfoundedTerm, NoVariation, NotConverged
        See `trialkit.mixed.errors`; each says what to change.

    Examples
    --------
    >>> import pandas as pd
    >>> heads = pd.DataFrame({
    ...     "dose": ["low", "high"] * 6,
    ...     "block": [1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3],
    ...     "weight_g": [100, 121, 104, 118, 90, 115, 95, 110, 108, 131, 104, 126],
    ... })
    >>> fit = fit_mixed(heads, "weight_g ~ dose", random=["block"])
    >>> fit.means("dose")["mean"].round(2).to_dict()
    {'high': 120.17, 'low': 100.17}
    """
    if bounds not in ("nonnegative", "strata") or method not in ("reml", "ml"):
        raise MixedModelError("bounds is 'nonnegative' or 'strata'; method is 'reml' or 'ml'.")
    model, response = build_model(data, formula, random, residual_by)
    prepared = prepare(model, response[None])
    products = model.cross_products(prepared)
    restricted = evaluate(products, starting_variances(model)[None], restricted=True)
    refuse_confounded(restricted, model.variance_names)
    start = restricted if method == "reml" else evaluate(products, restricted.variances, restricted=False)
    point, record = maximise(products, start, restricted=method == "reml", bounded=bounds == "nonnegative")
    require_converged(point, record)
    return MixedFit(formula, method, bounds, model, response, prepared, products, point, record)


@dataclass(frozen=True)
class FTest:
    """A test that several contrasts are all zero: scaled F, its degrees of freedom and p."""

    f: float
    numerator_df: int
    denominator_df: float
    p: float


@dataclass(frozen=True)
class MixedFit:
    """A fitted model.

    Attributes
    ----------
    formula : str
    method, bounds : str
        As asked for.
    model : Model
    response : ndarray, shape (rows used,)
    prepared : Prepared
    products : CrossProducts
    point : Evaluation
        Likelihood and derivatives at the estimates, in units of ``prepared.scale``.
    record : FitRecord
        How the variances were found.
    """

    formula: str
    method: str
    bounds: str
    model: Model
    response: FloatArray
    prepared: Prepared
    products: CrossProducts
    point: Evaluation
    record: FitRecord

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the variances: the random terms, then ``residual``."""
        return self.model.variance_names

    @property
    def dropped(self) -> int:
        """Rows left out because a value was missing."""
        return self.model.dropped

    @property
    def aliased(self) -> tuple[str, ...]:
        """Columns of the model matrix dropped because earlier ones already say the same."""
        return self.model.fixed.aliased

    @property
    def at_zero(self) -> tuple[str, ...]:
        """Variances held at zero: too small to measure."""
        return tuple(name for name, free in zip(self.names, self.record.free[0], strict=True) if not free)

    @property
    def criterion(self) -> float:
        """-2 log likelihood (restricted unless ``method="ml"``), not depending on how X is coded.

        ``(N - p) log 2 pi + log|V| + log|X'V^-1X| - log|X'X| + (y - Xb)'V^-1(y - Xb)``; without the middle parts by ML.
        """
        lost = self.point.phi.shape[-1] if self.method == "reml" else 0
        return float(self.point.criterion[0] + 2 * (self.model.heads - lost) * np.log(self.prepared.scale[0]))

    @property
    def variances(self) -> pd.Series:
        """Estimated variances, in squared units of the response."""
        values = self.point.variances[0] * self.prepared.scale[0] ** 2
        return pd.Series(values, index=list(self.names), name="variance")

    @cached_property
    def variance_covariance(self) -> pd.DataFrame:
        """Covariance of the variance estimates: inverse expected information over those not at zero."""
        free = self.record.free[0]
        names = [name for name, is_free in zip(self.names, free, strict=True) if is_free]
        covariance = variance_covariance(self.point, self.record.free)[0] * self.prepared.scale[0] ** 4
        return pd.DataFrame(covariance[np.ix_(free, free)], index=names, columns=names)

    @property
    def coefficients(self) -> pd.DataFrame:
        """Fixed effects: estimate, se, df, t, p, lower, upper (Kenward-Roger, 95 % limits), in the data's coding."""
        identity = np.eye(len(self.model.fixed.names))[self.model.fixed.kept]
        return self._estimates(
            pd.Index(self._kept_names, name="column"), self.model.fixed.to_orthogonal(identity), 0.95
        )

    def covariance(self, kind: Literal["kenward-roger", "model"] = "kenward-roger") -> pd.DataFrame:
        """Covariance of the fixed effects: Kenward-Roger's Phi_A, or Phi with the variances taken as known."""
        phi = self.small.adjusted[0] if kind == "kenward-roger" else self.point.phi[0] * self.prepared.scale[0] ** 2
        identity = np.eye(len(self.model.fixed.names))[self.model.fixed.kept]
        basis = self.model.fixed.to_orthogonal(identity)
        return pd.DataFrame(basis @ phi @ basis.T, index=self._kept_names, columns=self._kept_names)

    def anova(self, ddf: Literal["kenward-roger", "satterthwaite"] = "kenward-roger") -> pd.DataFrame:
        """Partial (type III) F test of each term: f, numerator_df, denominator_df, p.

        Where a combination was never tried, a term keeps the contrasts that the data determine; with none left its
        row is missing values.
        """
        formula = self.model.fixed.formula
        terms = {":".join(term): i for i, term in enumerate(formula.terms) if term}
        tests = [self.test(term_contrasts(self.model.fixed, i), ddf) for i in terms.values()]
        columns = ("f", "numerator_df", "denominator_df", "p")
        return pd.DataFrame([[getattr(t, c) for c in columns] for t in tests], pd.Index(terms, name="term"), columns)

    def test(self, contrasts: FloatArray, ddf: Literal["kenward-roger", "satterthwaite"] = "kenward-roger") -> FTest:
        """Test that contrasts, shape (l, columns of the model matrix) and of full row rank, are all zero.

        Raises
        ------
        NotEstimable
            If one of them is not determined by the data.
        """
        if not len(contrasts):
            return FTest(np.nan, 0, np.nan, np.nan)
        if not self.model.fixed.estimable(contrasts).all():
            raise NotEstimable("The data do not determine this contrast: a combination that it needs was never tried.")
        basis = self.model.fixed.to_orthogonal(contrasts)
        tests = self.small.kenward_roger(basis) if ddf == "kenward-roger" else self.small.satterthwaite(basis)
        return FTest(float(tests.f[0]), tests.numerator_df, float(tests.denominator_df[0]), float(tests.p[0]))

    def means(self, factors: str, *, confidence: float = 0.95) -> pd.DataFrame:
        """Estimated marginal means: mean, se, df, lower, upper, estimable.

        Equal weights over the levels of the other factors, covariates at their means (Searle, Speed & Milliken
        1980). A mean that the data do not determine has missing values and ``estimable`` False.

        Parameters
        ----------
        factors : str
            One factor, or several joined by ``:``.

        Raises
        ------
        NotEstimable
            If none of the means is estimable.
        """
        index, contrasts = self._mean_contrasts(factors)
        good = self.model.fixed.estimable(contrasts)
        if not good.any():
            raise NotEstimable(f"No mean of {factors!r} is determined: it averages over combinations never tried.")
        table = self._estimates(index[good], self.model.fixed.to_orthogonal(contrasts[good]), confidence)
        table = table.rename(columns={"estimate": "mean"})[["mean", "se", "df", "lower", "upper"]].reindex(index)
        return table.assign(estimable=good)

    def mean_covariance(self, factors: str) -> pd.DataFrame:
        """Kenward-Roger covariance of the means that are estimable."""
        index, contrasts = self._mean_contrasts(factors)
        good = self.model.fixed.estimable(contrasts)
        basis = self.model.fixed.to_orthogonal(contrasts[good])
        return pd.DataFrame(basis @ self.small.adjusted[0] @ basis.T, index=index[good], columns=index[good])

    def compare(
        self,
        factors: str,
        family: Family = "all-pairs",
        reference: str | None = None,
        adjust: Adjustment | None = None,
        *,
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Compare marginal means: estimate, se, df, t, p, lower, upper.

        Parameters
        ----------
        factors : str
            One factor, or several joined by ``:``; levels are then named ``a:b``.
        family : {"all-pairs", "versus"}
        reference : str, optional
            The level that the others are compared with; needed for ``"versus"``.
        adjust : {"tukey", "dunnett", "holm", "sidak", "none"}, optional
            Tukey-Kramer by default for all pairs, Dunnett for ``"versus"``.

        Raises
        ------
        NotEstimable
            If a mean in the family is not determined by the data; it is named.
        """
        chosen: Adjustment = adjust or ADJUSTMENTS[family][0]
        if chosen not in ADJUSTMENTS[family]:
            raise MixedModelError(
                f"{chosen!r} does not go with {family!r}: use one of {', '.join(ADJUSTMENTS[family])}."
            )
        index, contrasts = self._mean_contrasts(factors)
        levels = [_joined(label) for label in index]
        bad = [level for level, good in zip(levels, self.model.fixed.estimable(contrasts), strict=True) if not good]
        if bad:
            raise NotEstimable(f"Not determined by the data, so not compared: {', '.join(bad)}.")
        if len(levels) < 2:
            raise MixedModelError(f"{factors!r} has one level: there is nothing to compare.")
        if family == "versus" and reference is None:
            raise MixedModelError("Name the reference level that the others are compared with.")
        names, weights = all_pairs(levels) if family == "all-pairs" else versus(levels, str(reference))
        basis = self.model.fixed.to_orthogonal(weights @ contrasts)
        return comparison_table(names, basis, self.small, chosen, len(levels), confidence)

    def random_effects(self, term: str) -> pd.DataFrame:
        """Predicted effects of a random term: effect, se (of prediction), by level.

        Best linear unbiased predictions; the standard error counts that the fixed effects were estimated
        (Henderson 1975).
        """
        if term not in self.names[:-1]:
            raise MixedModelError(f"{term!r} is not a random term of this model: {', '.join(self.names[:-1])}.")
        position = self.names.index(term)
        factor = self.model.terms[position]
        predicted = self._predict(position, factor)
        table = {"effect": predicted.effect * self.prepared.scale[0], "se": predicted.se * self.prepared.scale[0]}
        return pd.DataFrame(table, index=pd.Index([str(level) for level in factor.levels], name=term))

    def residuals(self) -> pd.DataFrame:
        """Residuals of every row used: fitted, marginal, conditional, standardised, leverage.

        ``fitted`` is ``X b`` and ``marginal`` the rest; ``conditional`` takes the predicted random effects off too, and
        ``standardised`` divides it by its own standard deviation. ``leverage`` is the diagonal of ``X Phi X'V^-1``,
        which adds up to the number of fixed effects.
        """
        codes, rows = self.model.cells.codes, self._row_inverse
        basis = self.model.fixed.orthogonal[self.model.fixed_row]
        fitted = self.small.estimate(basis)[0, codes]
        with np.errstate(invalid="ignore", divide="ignore"):  # a row that determines an effect alone has no residual
            standardised = np.where(rows.own > 0, rows.residual / np.sqrt(np.abs(rows.own)), np.nan)
        table = {
            "fitted": fitted,
            "marginal": self.response - fitted,
            "conditional": self._residual_variances / self.prepared.scale[0] * rows.residual,
            "standardised": standardised,
            "leverage": ((basis @ self.point.phi[0])[codes] * rows.x).sum(1),
        }
        return pd.DataFrame(table, index=self.model.row_labels)

    def leave_one_out(self, term: str = "residual") -> pd.DataFrame:
        """Change of the fixed effects when one bucket, or one head, is left out, without refitting.

        The variances stay as they were estimated. Missing where the rest no longer determines the effects.

        Parameters
        ----------
        term : str
            The random term with one level a cell (the bucket), or ``"residual"`` for single rows.

        Returns
        -------
        pandas.DataFrame
            One row a level (or row used), one column a fixed effect: estimate without it less estimate with it.
        """
        diagonal = None if self.model.diagonal is None else self.model.terms[self.model.diagonal]
        if term == "residual":
            index, change = self.model.row_labels, leave_one_out(self.point.phi[0], self._row_inverse)
        elif diagonal is not None and term == diagonal.name:
            order = np.argsort(diagonal.codes)
            index = pd.Index([str(level) for level in diagonal.levels], name=term)
            change = leave_one_out(self.point.phi[0], self._cell_inverse)[order]
        else:
            known = "'residual'" if diagonal is None else f"'residual' or {diagonal.name!r}"
            raise MixedModelError(f"Leaving out levels of {term!r} needs a refit; without one: {known}.")
        identity = np.eye(len(self.model.fixed.names))[self.model.fixed.kept]
        basis = self.model.fixed.to_orthogonal(identity)
        return pd.DataFrame(change @ basis.T * self.prepared.scale[0], index=index, columns=self._kept_names)

    def simulate(self, rng: np.random.Generator, n: int) -> FloatArray:
        """Draw n responses, shape (n, rows used), from the fitted model; a negative variance counts as zero."""
        codes = self.model.cells.codes
        basis = self.model.fixed.orthogonal[self.model.fixed_row]
        terms = [
            (Factor(t.name, t.levels, t.codes[codes]), max(float(v), 0.0))
            for t, v in zip(self.model.terms, self.variances, strict=False)
        ]
        fitted = self.small.estimate(basis)[0, codes]
        return simulate_responses(fitted, terms, self._residual_variances, rng, n)

    @property
    def _residual_variances(self) -> FloatArray:
        """Residual variance of each row used."""
        each = self.variances.to_numpy()[len(self.model.terms) :]
        return np.asarray(each[self.model.residual.codes][self.model.cells.codes])

    @cached_property
    def small(self) -> SmallSample:
        """Kenward-Roger quantities, in the response's units.

        Raises
        ------
        MixedModelError
            If the model was fitted by ML, for which they are not defined.
        """
        if self.method != "reml":
            raise MixedModelError("Tests and intervals need the restricted likelihood: fit with method='reml'.")
        return small_sample(self.point, self.record.free, self.prepared)

    @property
    def _kept_names(self) -> list[str]:
        return [self.model.fixed.names[i] for i in self.model.fixed.kept]

    @cached_property
    def strata(self) -> Strata | None:
        """Strata of the design where it is orthogonal, else None."""
        return find_strata(self.model)

    @cached_property
    def _solved(self) -> Solved:
        return solve(self.products, self.point.variances)

    @cached_property
    def _cell_inverse(self) -> CellInverse:
        return cell_inverse(self.point, self._solved, self.model.blocks, self.prepared.means[0], self.model.cells.sizes)

    @cached_property
    def _row_inverse(self) -> RowInverse:
        cells, scale = self.model.cells, float(self.prepared.scale[0])
        deviations = cells.means(self.response[None] - self.prepared.offset)[1][0] / scale
        residual = self._residual_variances / scale**2
        return row_inverse(self._cell_inverse, cells.codes, cells.sizes, deviations, residual)

    def _predict(self, position: int, factor: Factor) -> Predicted:
        if position == self.model.diagonal:
            by_cell = predict_diagonal(self.point, self._cell_inverse, position, self.model.cells.sizes)
            order = np.argsort(factor.codes)
            return Predicted(by_cell.effect[order], by_cell.se[order])
        at, blocks = self.model.in_columns.index(position), self.model.blocks
        return predict_columns(self.point, self._solved, position, blocks.level_block[at], blocks.level_column[at])

    def _estimates(self, index: pd.Index, basis: FloatArray, confidence: float) -> pd.DataFrame:
        small = self.small
        estimate, se, df = small.estimate(basis)[0], small.contrast_se(basis)[0], small.contrast_df(basis)[0]
        t, half = estimate / se, stdtrit(df, (1 + confidence) / 2) * se
        columns = {"estimate": estimate, "se": se, "df": df, "t": t, "p": 2 * stdtr(df, -np.abs(t))}
        return pd.DataFrame(columns | {"lower": estimate - half, "upper": estimate + half}, index=index)

    def _mean_contrasts(self, factors: str) -> tuple[pd.Index, FloatArray]:
        """Rows of the reference grid averaged to the levels of `factors`."""
        names = factors.split(":")
        unknown = [name for name in names if name not in self.model.fixed.factors]
        if unknown:
            raise MixedModelError(f"{', '.join(map(repr, unknown))} is not a factor of the model {self.formula!r}.")
        grid = reference_grid(self.model.fixed)
        rows = pd.DataFrame(self.model.fixed.rows(grid))
        averaged = rows.groupby([grid[name] for name in names], observed=False, sort=True).mean()
        index = averaged.index
        if isinstance(index, pd.MultiIndex):
            index = pd.MultiIndex.from_tuples(list(index), names=names)
        else:
            index = pd.Index(list(index), name=names[0])
        return index, averaged.to_numpy()


def _joined(label: object) -> str:
    return ":".join(map(str, label)) if isinstance(label, tuple) else str(label)

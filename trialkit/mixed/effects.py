"""Fixed effects of a fit: coefficients, tests, marginal means and slopes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy.special import stdtr

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.estimates import Estimates
from trialkit.mixed.hypotheses import term_contrasts
from trialkit.mixed.means import MeanRows, Weights, mean_rows
from trialkit.mixed.multivariate_t import require_confidence, t_quantile
from trialkit.mixed.refusals import MixedModelError, NotEstimable

F_TEST_COLUMNS = pd.Index(["f", "numerator_df", "denominator_df", "p"])


@dataclass(frozen=True)
class FTest:
    """A test that several contrasts are all zero: scaled F, its degrees of freedom and p."""

    f: float
    numerator_df: int
    denominator_df: float
    p: float


@dataclass(frozen=True, eq=False)
class FixedEffects(Estimates):
    """Fixed effects of one fitted model, and the means that they stand for."""

    @property
    def coefficients(self) -> pd.DataFrame:
        """Fixed effects in the data's coding, the first level of each factor being the reference.

        Returns
        -------
        pandas.DataFrame
            One row a column of the model matrix that is not aliased: estimate, se and df (Kenward & Roger 1997), t, p,
            and 95 % limits lower, upper.

        Raises
        ------
        MixedModelError
            If the model was fitted by ML.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).coefficients["estimate"].round(6).to_dict()
        {'Intercept': 92.0, 'dose[T.4]': 8.0, 'dose[T.6]': 10.0}
        """
        return self._estimates(pd.Index(self._kept_names, name="column"), self._kept_basis, 0.95)

    def covariance(self, kind: Literal["kenward-roger", "model"] = "kenward-roger") -> pd.DataFrame:
        """Covariance of the fixed effects.

        Parameters
        ----------
        kind : {"kenward-roger", "model"}
            Phi_A of Kenward & Roger (1997), or ``(X'V^-1X)^-1`` with the variances taken as known.

        Returns
        -------
        pandas.DataFrame
            Square, by the columns that are not aliased, in squared units of the response.

        Raises
        ------
        MixedModelError
            If the kind is unknown, or it is Kenward and Roger's and the model was fitted by ML.

        Examples
        --------
        The mean of four buckets in four blocks has variance ``(12 + 4) / 4``.

        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> round(float(fit.covariance().loc["Intercept", "Intercept"]), 6)
        4.0
        """
        if kind not in ("kenward-roger", "model"):
            raise MixedModelError(f"{kind!r} is no kind of covariance: use 'kenward-roger' or 'model'.")
        phi = self.small.adjusted[0] if kind == "kenward-roger" else self.point.phi[0] * self.prepared.scale[0] ** 2
        basis = self._kept_basis
        return pd.DataFrame(basis @ phi @ basis.T, index=self._kept_names, columns=self._kept_names)

    def anova(self, ddf: Literal["kenward-roger", "satterthwaite"] = "kenward-roger") -> pd.DataFrame:
        """Partial (type III) F test of each term.

        Where a combination was never tried, a term keeps the contrasts that the data determine; with none left its
        row is missing values.

        Parameters
        ----------
        ddf : {"kenward-roger", "satterthwaite"}
            Kenward & Roger's (1997) scaled F, or Fai & Cornelius's (1996) degrees of freedom with expected information.

        Returns
        -------
        pandas.DataFrame
            By term: f, numerator_df, denominator_df, p.

        Raises
        ------
        MixedModelError
            If the kind is unknown, or the model was fitted by ML.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).anova().round(4).loc["dose"].to_dict()
        {'f': 28.0, 'numerator_df': 2.0, 'denominator_df': 6.0, 'p': 0.0009}
        """
        formula = self.model.fixed.formula
        terms = {":".join(term): i for i, term in enumerate(formula.terms) if term}
        tests = [self.test(term_contrasts(self.model.fixed, i), ddf) for i in terms.values()]
        rows = np.array([[getattr(test, column) for column in F_TEST_COLUMNS] for test in tests], float)
        return pd.DataFrame(rows.reshape(-1, len(F_TEST_COLUMNS)), pd.Index(list(terms), name="term"), F_TEST_COLUMNS)

    def test(self, contrasts: FloatArray, ddf: Literal["kenward-roger", "satterthwaite"] = "kenward-roger") -> FTest:
        """Test that several contrasts are all zero.

        Parameters
        ----------
        contrasts : ndarray, shape (l, columns of the model matrix)
            Of full row rank, over ``fit.model.fixed.names``.
        ddf : {"kenward-roger", "satterthwaite"}
            As in `anova`.

        Returns
        -------
        FTest
            f, numerator_df, denominator_df, p.

        Raises
        ------
        NotEstimable
            If one of them is not determined by the data.
        MixedModelError
            If the kind is unknown, or the model was fitted by ML.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> round(fit.test(np.array([[0.0, 1.0, 0.0]])).f, 6)  # (8 g / 1.414 g) squared
        32.0
        """
        if ddf not in ("kenward-roger", "satterthwaite"):
            raise MixedModelError(f"{ddf!r} is no kind of test: use 'kenward-roger' or 'satterthwaite'.")
        if not len(contrasts):
            return FTest(np.nan, 0, np.nan, np.nan)
        if not self.model.fixed.estimable(contrasts).all():
            raise NotEstimable("The data do not determine this contrast: a combination that it needs was never tried.")
        basis = self.model.fixed.to_orthogonal(contrasts)
        tests = self.small.kenward_roger(basis) if ddf == "kenward-roger" else self.small.satterthwaite(basis)
        return FTest(float(tests.f[0]), tests.numerator_df, float(tests.denominator_df[0]), float(tests.p[0]))

    def means(self, factors: str, *, weights: Weights = "equal", confidence: float = 0.95) -> pd.DataFrame:
        """Estimated marginal means, covariates at their mean over the rows used (Searle, Speed & Milliken 1980).

        Parameters
        ----------
        factors : str
            One factor, or several joined by ``:``.
        weights : {"equal", "proportional"} or mapping
            Of the combinations of the other factors' levels: all alike, by their share of the rows used, or the user's
            own, such as ``{"site": {"church": 2, "school": 1}}`` (a level left out counts nothing; a factor left out
            is weighted equally).
        confidence : float

        Returns
        -------
        pandas.DataFrame
            By level: mean, se, lower, upper in units of the response, df (Kenward & Roger 1997), and estimable. A
            mean that the data do not determine has missing values and ``estimable`` False.

        Raises
        ------
        NotEstimable
            If none of the means is estimable.
        MixedModelError
            If a factor, level or weight is unknown, or the model was fitted by ML.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> fit.means("dose")[["mean", "se"]].round(6)
               mean   se
        dose
        2      92.0  2.0
        4     100.0  2.0
        6     102.0  2.0
        """
        return self._level_table(mean_rows(self.model, factors, weights), "mean", confidence)

    def mean_covariance(self, factors: str, *, weights: Weights = "equal") -> pd.DataFrame:
        """Kenward-Roger covariance of the means that are estimable.

        Parameters
        ----------
        factors, weights
            As in `means`.

        Returns
        -------
        pandas.DataFrame
            Square, by level, in squared units of the response.

        Raises
        ------
        MixedModelError
            As from `means`.

        Examples
        --------
        Means of four blocks share the blocks' variance, 12 / 4.

        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> fit.mean_covariance("dose").round(6).to_numpy()
        array([[4., 3., 3.],
               [3., 4., 3.],
               [3., 3., 4.]])
        """
        asked = mean_rows(self.model, factors, weights)
        good = self.model.fixed.estimable(asked.rows)
        basis, index = self.model.fixed.to_orthogonal(asked.rows[good]), asked.index[good]
        return pd.DataFrame(basis @ self.small.adjusted[0] @ basis.T, index=index, columns=index)

    def slopes(self, covariate: str, by: str | None = None, *, confidence: float = 0.95) -> pd.DataFrame:
        """Slope of a covariate, for each level of a factor, the other covariates at their means.

        `compare` with ``slope_of`` compares the slopes.

        Parameters
        ----------
        covariate : str
        by : str, optional
            One factor, or several joined by ``:``. Without it, one slope, averaged with equal weight over all levels.
        confidence : float

        Returns
        -------
        pandas.DataFrame
            By level (by covariate, without `by`): slope, se, lower, upper in units of the response a unit of the
            covariate, df (Kenward & Roger 1997), estimable.

        Raises
        ------
        NotEstimable
            If none of the slopes is estimable.
        MixedModelError
            If the covariate or factor is unknown, or the model was fitted by ML.

        Examples
        --------
        From 92 g at 2 teaspoons to 102 g at 6.

        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose_tsp", ["block"])
        >>> float(fit.slopes("dose_tsp").loc["dose_tsp", "slope"].round(6))
        2.5
        """
        asked = mean_rows(self.model, by or "", slope_of=covariate)
        if by is None:
            asked = MeanRows(("covariate",), ((covariate,),), asked.rows)
        return self._level_table(asked, "slope", confidence)

    @property
    def _told(self) -> tuple[str, list[str], dict[str, pd.DataFrame]]:
        singular = [
            f"{term}: its level and slopes are told apart no further (a correlation of 1 or -1, or no variation)"
            for term in self.singular
        ]
        with np.errstate(invalid="ignore"):
            tables = {"Variances": self.variances.to_frame().assign(sd=np.sqrt(self.variances))}
        for term in self.model.terms:
            if len(term.parts) > 1:
                tables[f"Standard deviations and correlations of {term.name}"] = self.random_covariance(term.name)
        if self.method == "ml":
            columns = {
                "estimate": self._estimated(self._kept_basis),
                "se": np.sqrt(np.diag(self.covariance("model").to_numpy())),
            }
            fixed = {"Fixed effects, variances taken as known": pd.DataFrame(columns, pd.Index(self._kept_names))}
            return "Linear mixed model by full likelihood", singular, tables | fixed
        fixed = {"Fixed effects": self.coefficients, "Tests of the terms": self.anova()}
        return (
            "Linear mixed model by restricted likelihood",
            singular,
            tables | {name: table for name, table in fixed.items() if len(table)},
        )

    def _level_table(self, asked: MeanRows, column: str, confidence: float) -> pd.DataFrame:
        require_confidence(confidence)
        good = self.model.fixed.estimable(asked.rows)
        if not good.any():
            raise NotEstimable(
                f"No {column} of {':'.join(asked.names)!r} is determined: it averages over combinations never tried."
            )
        table = self._estimates(asked.index[good], self.model.fixed.to_orthogonal(asked.rows[good]), confidence)
        table = table.rename(columns={"estimate": column})[[column, "se", "df", "lower", "upper"]]
        return table.reindex(asked.index).assign(estimable=good)

    def _estimates(self, index: pd.Index, basis: FloatArray, confidence: float) -> pd.DataFrame:
        small = self.small
        estimate, se, df = small.estimate(basis)[0], small.contrast_se(basis)[0], small.contrast_df(basis)[0]
        t, half = estimate / se, t_quantile(confidence, df) * se
        columns = {"estimate": estimate, "se": se, "df": df, "t": t, "p": 2 * stdtr(df, -np.abs(t))}
        return pd.DataFrame(columns | {"lower": estimate - half, "upper": estimate + half}, index=index)

"""What linear and logistic fits tell alike: what was left out, how likely the data are, how many parameters say so."""

from __future__ import annotations

from abc import abstractmethod

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.equality import SameByContent
from trialkit.mixed.fit_summary import FitSummary, counted
from trialkit.mixed.model import Model


class Fitted(SameByContent):
    """A fitted model of either kind (see `trialkit.mixed.MixedFit` and `trialkit.mixed.BinomialFit`)."""

    formula: str
    model: Model

    @property
    @abstractmethod
    def names(self) -> tuple[str, ...]:
        """Names of the variances."""

    @property
    @abstractmethod
    def log_likelihood(self) -> float:
        """Log likelihood at the estimates."""

    @property
    @abstractmethod
    def _free(self) -> dict[str, bool]:
        """Whether each variance and covariance is free, by name: not held at zero."""

    @property
    def dropped(self) -> int:
        """Rows left out because a value was missing, or there was no trial.

        Returns
        -------
        int

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> lost = example.small_trial().replace({"weight_g": {106: np.nan}})
        >>> fit_mixed(lost, "weight_g ~ dose", ["block"]).dropped
        1
        """
        return self.model.dropped

    @property
    def aliased(self) -> tuple[str, ...]:
        """Columns of the model matrix dropped because earlier ones already say the same.

        Returns
        -------
        tuple of str

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose_tsp + dose", ["block"]).aliased
        ('dose[T.6]',)
        """
        return self.model.fixed.aliased

    @property
    def at_zero(self) -> tuple[str, ...]:
        """Variances held at zero: too small to measure.

        Returns
        -------
        tuple of str

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> even = example.small_trial().assign(bench=["a", "b", "c", "b", "c", "a", "c", "a", "b", "a", "b", "c"])
        >>> fit_mixed(even, "weight_g ~ dose", ["block", "bench"]).at_zero
        ('bench',)
        """
        free = self._free
        return tuple(name for name in self.names if not free[name])

    @property
    def parameters(self) -> int:
        """Parameters fitted: fixed effects, variances and covariances, those at zero counted.

        Returns
        -------
        int

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).parameters  # three means, two variances
        5
        """
        return len(self.model.fixed.kept) + len(self._free)

    @property
    def aic(self) -> float:
        """Akaike's (1974) criterion, ``-2 log_likelihood + 2 parameters``: less is better.

        Of fits by restricted likelihood it compares random parts alone, under the same fixed part.

        Returns
        -------
        float

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"], method="ml")
        >>> round(fit.aic, 3), round(-2 * fit.log_likelihood + 2 * 5, 3)
        (66.448, 66.448)
        """
        return -2 * self.log_likelihood + 2 * self.parameters

    @property
    def bic(self) -> float:
        """Schwarz's (1978) criterion, ``-2 log_likelihood + parameters log n`` with n rows used: less is better.

        Of fits by restricted likelihood it compares random parts alone, under the same fixed part.

        Returns
        -------
        float

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"], method="ml")
        >>> round(fit.bic - fit.aic, 6) == round(5 * float(np.log(12)) - 5 * 2, 6)
        True
        """
        return -2 * self.log_likelihood + self.parameters * float(np.log(self.model.heads))

    def summary(self) -> FitSummary:
        """Tell the fit on one screen.

        Returns
        -------
        FitSummary
            Shows itself as text, and as HTML in a notebook. Its ``tables`` are the fit's own, by their headings.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).summary()
        Linear mixed model by restricted likelihood: weight_g ~ dose
        12 rows; random terms: block (4 levels)
        log likelihood -22.46, AIC 54.93, BIC 57.35 (5 parameters)
        <BLANKLINE>
        Variances
                  variance    sd
        block           12 3.464
        residual         4     2
        <BLANKLINE>
        Fixed effects
                   estimate    se    df     t         p  lower  upper
        column
        Intercept        92     2 4.235    46 7.027e-07  86.57  97.43
        dose[T.4]         8 1.414     6 5.657  0.001311   4.54  11.46
        dose[T.6]        10 1.414     6 7.071 0.0004009   6.54  13.46
        <BLANKLINE>
        Tests of the terms
              f  numerator_df  denominator_df         p
        term
        dose 28             2               6 0.0009063
        """
        left_out = f", {self.dropped} more left out for want of a value" if self.dropped else ""
        terms = ", ".join(f"{term.name} ({counted(len(term.levels), 'level')})" for term in self.model.terms)
        likelihood = f"log likelihood {self.log_likelihood:.2f}, AIC {self.aic:.2f}, BIC {self.bic:.2f}"
        lines = [
            f"{counted(self.model.heads, 'row')}{left_out}; random terms: {terms or 'none'}",
            f"{likelihood} ({counted(self.parameters, 'parameter')})",
            *([f"Variances at zero, too small to measure: {', '.join(self.at_zero)}"] if self.at_zero else []),
            *([f"Columns that others already say: {', '.join(self.aliased)}"] if self.aliased else []),
        ]
        title, more, tables = self._told
        return FitSummary(f"{title}: {self.formula}", (*lines, *more), tables)

    def _repr_html_(self) -> str:
        return self.summary()._repr_html_()

    @property
    @abstractmethod
    def _told(self) -> tuple[str, list[str], dict[str, pd.DataFrame]]:
        """Kind of the model, further lines, and tables by their headings."""

    @property
    def _kept_names(self) -> list[str]:
        return [self.model.fixed.names[i] for i in self.model.fixed.kept]

    @property
    def _kept_basis(self) -> FloatArray:
        """Rows that turn the orthogonal basis into the fixed effects of `coefficients`."""
        return self.model.fixed.to_orthogonal(np.eye(len(self.model.fixed.names))[self.model.fixed.kept])

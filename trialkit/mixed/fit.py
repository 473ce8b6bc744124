"""`fit_mixed` and what can be asked of the means."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from trialkit.domain.short_repr import ShortRepr
from trialkit.mixed.arguments import named_terms, require_kinds
from trialkit.mixed.comparisons import (
    Adjustment,
    PosedComparison,
    adjustment,
    comparison_table,
    equivalence_table,
    pose,
)
from trialkit.mixed.contrasts import Contrasts, Family, family_contrasts, named
from trialkit.mixed.fit_pictures import Pictures
from trialkit.mixed.means import Weights, mean_rows
from trialkit.mixed.model import build_model, prepare
from trialkit.mixed.multivariate_t import require_confidence
from trialkit.mixed.refusals import MixedModelError
from trialkit.mixed.scoring import estimate


def fit_mixed(
    data: pd.DataFrame,
    formula: str,
    random: str | Sequence[str] = (),
    *,
    bounds: Literal["nonnegative", "strata"] = "nonnegative",
    method: Literal["reml", "ml"] = "reml",
    residual_by: str | None = None,
) -> MixedFit:
    """Fit a linear mixed model.

    ``y = X b + sum_k Z_k u_k + e``, by restricted maximum likelihood (Patterson & Thompson 1971, Biometrika).

    Parameters
    ----------
    data : pandas.DataFrame
        One row a head. Number columns in the formula are covariates, at their mean over the rows used wherever a
        mean is asked for; every other kind is a factor, its levels in categorical order, else sorted, the first the
        reference. Rows with a missing value are dropped and counted.
    formula : str
        Response and fixed part, such as ``"weight_g ~ cultivar * dose"``; column names only.
    random : str or sequence of str
        Random terms, one or several, independent of one another: a column, or ``"a:b"`` for joint levels.
        ``"days by subject"`` is a slope of the column days for each subject; ``"subject with days"`` a level and a
        slope for each subject, correlated (more slopes after commas).
    bounds : {"nonnegative", "strata"}
        Hold variances at zero or above, or leave them free as long as V stays positive definite: a balanced trial
        then gives exactly the classical analysis of variance.
    method : {"reml", "ml"}
        Restricted likelihood; full likelihood is for comparing fixed parts, and gives no tests or intervals.
    residual_by : str, optional
        Column whose levels each have a residual variance of their own, such as the site.

    Returns
    -------
    MixedFit
        What can be asked of it: its methods.

    Raises
    ------
    FormulaError, ConfoundedTerm, NoVariation, NotConverged
        See `trialkit.mixed.refusals`; each says what to change.

    Examples
    --------
    >>> import numpy as np
    >>> import pandas as pd
    >>> heads = pd.DataFrame({
    ...     "dose": np.tile(["2", "4", "6"], 4),
    ...     "block": np.repeat(["1", "2", "3", "4"], 3),
    ...     "weight_g": [90, 95, 97, 88, 99, 101, 95, 100, 105, 95, 106, 105],
    ... })
    >>> fit = fit_mixed(heads, "weight_g ~ dose", random=["block"])
    >>> fit.means("dose")["mean"].round(6).to_dict()
    {'2': 92.0, '4': 100.0, '6': 102.0}
    """
    if bounds not in ("nonnegative", "strata") or method not in ("reml", "ml"):
        raise MixedModelError("bounds is 'nonnegative' or 'strata'; method is 'reml' or 'ml'.")
    require_kinds(data, formula, residual_by=residual_by)
    model, response = build_model(data, formula, named_terms(random), residual_by)
    if bounds == "strata" and model.has_slopes:
        raise MixedModelError(
            "bounds='strata' leaves variances free to be negative, which slopes and their levels cannot be together: "
            "use bounds='nonnegative'."
        )
    prepared = prepare(model, response[None])
    point, record = estimate(model, prepared, restricted=method == "reml", bounded=bounds == "nonnegative")
    return MixedFit(formula, method, bounds, model, response, prepared, point, record)


@dataclass(frozen=True, repr=False, eq=False)
class MixedFit(ShortRepr, Pictures):
    """A fitted model and what can be asked of it.

    Attributes
    ----------
    formula : str
    method, bounds : str
        As asked for.
    model : Model
        The design: fixed part, random terms, cells, blocks.
    response : ndarray, shape (rows used,)
    prepared : Prepared
    point : Evaluation
        Likelihood and derivatives at the estimates, in units of ``prepared.scale``.
    record : FitRecord
        How the variances were found.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_mixed
    >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
    >>> fit.formula, fit.method, fit.bounds, fit.response.shape
    ('weight_g ~ dose', 'reml', 'nonnegative', (12,))
    """

    def compare(
        self,
        factors: str,
        family: Family = "all-pairs",
        reference: str | None = None,
        adjust: Adjustment | None = None,
        *,
        within: str | None = None,
        slope_of: str | None = None,
        weights: Weights = "equal",
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Compare marginal means, or slopes.

        Parameters
        ----------
        factors : str
            One factor, or several joined by ``:``; levels are then named ``a:b``.
        family : {"all-pairs", "versus", "trend"}
            Trend: orthogonal polynomials in the levels' own numbers, at whatever spacing, coefficients of length 1.
        reference : str, optional
            The level that the others are compared with; for ``"versus"``, and needed there.
        adjust : {"tukey", "dunnett", "holm", "sidak", "none"}, optional
            Tukey-Kramer by default for all pairs, Dunnett for ``"versus"`` (exact multivariate t with the fitted
            correlation), none for a trend.
        within : str, optional
            Compare inside each level of these factors; each level is a family of its own.
        slope_of : str, optional
            Compare slopes of this covariate instead of means.
        weights : {"equal", "proportional"} or mapping
            As in `means`.
        confidence : float
            Of the limits, for a family as a whole where Tukey, Dunnett or Sidak adjusts; Holm gives no limits of its
            own, and they are those of single comparisons.

        Returns
        -------
        pandas.DataFrame
            By comparison, the level of `within` in front: estimate, se, df, t, p, lower, upper; limits in units of the
            response, infinite where too large to hold (below about 0.01 degrees of freedom).

        Raises
        ------
        NotEstimable
            If a comparison is not determined by the data; it is named.
        MixedModelError
            If something named is unknown or does not go together, or the model was fitted by ML.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> fit.compare("dose")[["estimate", "se", "p"]].round(4)
                      estimate      se       p
        first second
        2     4           -8.0  1.4142  0.0032
              6          -10.0  1.4142  0.0010
        4     6           -2.0  1.4142  0.3923
        >>> fit.compare("dose", "trend")["estimate"].round(4).to_dict()  # 10 / sqrt 2, -6 / sqrt 6
        {'linear': 7.0711, 'quadratic': -2.4495}
        """
        chosen = adjustment(family, adjust)
        question = self._pose(factors, _chooser(family, reference), within, slope_of, weights)
        return self._compared(question, chosen, confidence)

    def contrasts(
        self,
        factors: str,
        contrasts: Mapping[str, Mapping[str, float]],
        adjust: Adjustment | None = None,
        *,
        weights: Weights = "equal",
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Contrasts of marginal means that the user writes down.

        Parameters
        ----------
        factors : str
            One factor, or several joined by ``:``; levels are then named ``a:b``.
        contrasts : mapping of str to mapping of str to float
            Weights by level, by the contrast's name; levels left out count nothing.
        adjust : {"none", "holm", "sidak"}, optional
        weights : {"equal", "proportional"} or mapping
            Of the factors averaged over, as in `means`.
        confidence : float

        Returns
        -------
        pandas.DataFrame
            By name: estimate, se, df, t, p, lower, upper, as from `compare`.

        Raises
        ------
        NotEstimable, MixedModelError
            As from `compare`.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> fit.contrasts("dose", {"some less little": {"4": 0.5, "6": 0.5, "2": -1}})[["estimate", "se"]].round(4)
                          estimate      se
        contrast
        some less little       9.0  1.2247
        """
        chosen = adjustment("custom", adjust)
        question = self._pose(factors, lambda levels: named(contrasts, levels), None, None, weights)
        return self._compared(question, chosen, confidence)

    def equivalence(
        self,
        factors: str,
        margin: float,
        family: Family = "all-pairs",
        reference: str | None = None,
        *,
        within: str | None = None,
        weights: Weights = "equal",
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Test whether means are as good as the same, by two one-sided tests.

        Schuirmann 1987, J. Pharmacokinet. Biopharm. Each comparison stands alone: nothing is adjusted for their number.

        Parameters
        ----------
        factors, family, reference, within, weights
            As in `compare`.
        margin : float
            Largest difference, either way, that does not matter: in units of the response, set before the data.
        confidence : float
            One less the risk of calling equivalent what is not; above 0.5.

        Returns
        -------
        pandas.DataFrame
            By comparison: estimate, se, df, t_lower and t_upper (against minus and plus the margin), p (the larger of
            the two), lower and upper (limits at ``2 confidence - 1``, inside the margins exactly where equivalent),
            equivalent.

        Raises
        ------
        NotEstimable, MixedModelError
            As from `compare`; also if the margin is not a number above zero.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> fit.equivalence("dose", 5.0, "versus", "4")[["estimate", "lower", "upper", "equivalent"]].round(2)
               estimate  lower  upper  equivalent
        level
        2          -8.0 -10.75  -5.25       False
        6           2.0  -0.75   4.75        True
        """
        if not 0 < margin < np.inf:
            raise MixedModelError(f"The margin is {margin!r}: give the largest difference that does not matter.")
        require_confidence(confidence, least=0.5)
        question = self._pose(factors, _chooser(family, reference), within, None, weights)
        return question.tables(lambda index, rows: equivalence_table(index, rows, self.small, margin, confidence))

    def _pose(
        self,
        factors: str,
        choose: Callable[[Sequence[str]], Contrasts],
        within: str | None,
        slope_of: str | None,
        weights: Weights,
    ) -> PosedComparison:
        places = within.split(":") if within else []
        asked = mean_rows(self.model, ":".join([*places, factors]), weights, slope_of)
        return pose(self.model.fixed, asked, len(places), choose)

    def _compared(self, question: PosedComparison, adjust: Adjustment, confidence: float) -> pd.DataFrame:
        require_confidence(confidence)
        levels = question.contrasts.weights.shape[1]
        small = self.small
        return question.tables(lambda index, rows: comparison_table(index, rows, small, adjust, levels, confidence))


def _chooser(family: Family, reference: str | None) -> Callable[[Sequence[str]], Contrasts]:
    name = None if reference is None else str(reference)
    return lambda levels: family_contrasts(family, levels, name)

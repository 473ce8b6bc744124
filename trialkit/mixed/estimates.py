"""What a fit estimated: the variances, and how they were found."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.fitted import Fitted
from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.model import Model, Prepared
from trialkit.mixed.orthogonal_strata import Strata, find_strata
from trialkit.mixed.refusals import MixedModelError
from trialkit.mixed.scoring import FitRecord
from trialkit.mixed.small_sample import SmallSample, small_sample, variance_covariance


@dataclass(frozen=True, eq=False)
class Estimates(Fitted):
    """The estimates of one fitted model (see `trialkit.mixed.MixedFit`, which adds what can be asked of them)."""

    formula: str
    method: str
    bounds: str
    model: Model
    response: FloatArray
    prepared: Prepared
    point: Evaluation
    record: FitRecord

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the variances.

        Returns
        -------
        tuple of str
            The random terms, then ``residual``, or one ``residual:level`` for each level of `residual_by`.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).names
        ('block', 'residual')
        """
        return self.model.variance_names

    @property
    def _free(self) -> tuple[bool, ...]:
        return tuple(map(bool, self.record.free[0]))

    @property
    def criterion(self) -> float:
        """-2 log likelihood, restricted unless ``method="ml"``, not depending on how X is coded.

        ``(N - p) log 2 pi + log|V| + log|X'V^-1X| - log|X'X| + (y - Xb)'V^-1(y - Xb)`` (Patterson & Thompson 1971,
        with Harville's 1974 constant); with N for N - p and without the two determinants of X by ML.

        Returns
        -------
        float

        Examples
        --------
        Strata make it short: ``9 log 2 pi + 3 (log 40 + 1) + 6 (log 4 + 1)`` for mean squares 40 and 4.

        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> by_hand = 9 * np.log(2 * np.pi) + 3 * (np.log(40) + 1) + 6 * (np.log(4) + 1)
        >>> round(fit.criterion, 4), round(float(by_hand), 4)
        (44.9253, 44.9253)
        """
        lost = self.point.phi.shape[-1] if self.method == "reml" else 0
        return float(self.point.criterion[0] + 2 * (self.model.heads - lost) * np.log(self.prepared.scale[0]))

    @property
    def log_likelihood(self) -> float:
        """Log likelihood, restricted unless ``method="ml"``: half of `criterion`, less than zero.

        Returns
        -------
        float

        Examples
        --------
        By full likelihood the strata's variances are 120 / 4 and 24 / 8, the mean and the doses counting as known.

        >>> from trialkit.mixed import example, fit_mixed
        >>> by_hand = -(12 * np.log(2 * np.pi) + 4 * (np.log(30) + 1) + 8 * (np.log(3) + 1)) / 2
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"], method="ml")
        >>> round(fit.log_likelihood, 4), round(float(by_hand), 4)
        (-28.2241, -28.2241)
        """
        return -self.criterion / 2

    @property
    def variances(self) -> pd.Series:
        """Estimated variances.

        Returns
        -------
        pandas.Series
            By name, in squared units of the response.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).variances.round(6).to_dict()
        {'block': 12.0, 'residual': 4.0}
        """
        values = self.point.variances[0] * self.prepared.scale[0] ** 2
        return pd.Series(values, index=list(self.names), name="variance")

    @cached_property
    def variance_covariance(self) -> pd.DataFrame:
        """Covariance of the variance estimates: inverse of the expected information.

        ``I_ij = tr(P G_i P G_j) / 2`` (Patterson & Thompson 1971), over the variances that are not at zero.

        Returns
        -------
        pandas.DataFrame
            Square, in fourth powers of the response's unit.

        Examples
        --------
        The residual is a mean square on 6 degrees of freedom: variance ``2 x 4^2 / 6``.

        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> round(float(fit.variance_covariance.loc["residual", "residual"]), 4)
        5.3333
        """
        free = self.record.free[0]
        names = [name for name, is_free in zip(self.names, free, strict=True) if is_free]
        covariance = variance_covariance(self.point, self.record.free)[0] * self.prepared.scale[0] ** 4
        return pd.DataFrame(covariance[np.ix_(free, free)], index=names, columns=names)

    @cached_property
    def small(self) -> SmallSample:
        """Kenward and Roger's quantities in the orthogonal basis, in the response's units, for work with arrays.

        Returns
        -------
        SmallSample
            For one response: arrays have a first axis of length 1.

        Raises
        ------
        MixedModelError
            If the model was fitted by ML, for which they are not defined.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).small.adjusted.shape
        (1, 3, 3)
        """
        if self.method != "reml":
            raise MixedModelError("Tests and intervals need the restricted likelihood: fit with method='reml'.")
        return small_sample(self.point, self.record.free, self.prepared)

    @cached_property
    def strata(self) -> Strata | None:
        """Strata of the design where it is orthogonal (Nelder 1965), else None.

        Returns
        -------
        Strata or None

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> strata = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).strata
        >>> sorted(map(float, strata.df))  # 4 blocks less the mean; 12 buckets less that and the doses
        [3.0, 6.0]
        """
        return find_strata(self.model)

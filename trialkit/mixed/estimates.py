"""What a fit estimated: the variances, and how they were found."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.fitted import Fitted
from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.model import Model, Prepared
from trialkit.mixed.orthogonal_strata import Strata, find_strata
from trialkit.mixed.random_terms import RandomTerm, covariance_matrix
from trialkit.mixed.refusals import MixedModelError
from trialkit.mixed.scoring import FitRecord
from trialkit.mixed.small_sample import SmallSample, small_sample, variance_covariance, with_offset

if TYPE_CHECKING:
    from trialkit.mixed.absorbed_likelihood import AbsorbedPoint


@dataclass(frozen=True, eq=False)
class Estimates(Fitted):
    """The estimates of one fitted model (see `trialkit.mixed.MixedFit`, which adds what can be asked of them)."""

    formula: str
    method: str
    bounds: str
    model: Model
    response: FloatArray
    prepared: Prepared
    point: Evaluation | AbsorbedPoint
    record: FitRecord

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the variances.

        Returns
        -------
        tuple of str
            The random terms (a slope is ``days by subject``), then ``residual``, or one ``residual:level`` for each
            level of `residual_by`.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).names
        ('block', 'residual')
        """
        return self.model.variance_names

    @property
    def _free(self) -> dict[str, bool]:
        return dict(zip(self.model.parameter_names, map(bool, self.record.free[0]), strict=True))

    @property
    def singular(self) -> tuple[str, ...]:
        """Random terms with a level and slopes whose covariance matrix is singular.

        The data ask for a correlation of 1 or -1, or for a level or slope that does not vary: no more can be told of
        the term. Leave out a slope, or make it independent.

        Returns
        -------
        tuple of str
            As the terms were named in `fit_mixed`.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).singular
        ()
        """
        return self.record.singular

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
        return self._parameters[list(self.names)].rename("variance")

    @property
    def covariances(self) -> pd.Series:
        """Estimated covariances between the level and slopes of a random term.

        Returns
        -------
        pandas.Series
            By name (of a level and a slope ``subject with days``, of two slopes ``days with dose by subject``), in
            squared units of the response a unit of the slopes' columns. Empty where no term is correlated.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).covariances.to_dict()
        {}
        """
        return self._parameters[list(self.model.covariance_names)].rename("covariance")

    def random_covariance(self, term: str) -> pd.DataFrame:
        """Standard deviations and correlations of the level and slopes of a random term.

        Parameters
        ----------
        term : str
            As it was named in `fit_mixed`.

        Returns
        -------
        pandas.DataFrame
            By part (``level``, then the slopes): ``sd``, in units of the response a unit of the slope's column, and its
            correlation with each part, missing where a standard deviation is nil.

        Raises
        ------
        MixedModelError
            If there is no such random term.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).random_covariance("block").round(4)
                   sd  level
        part
        level  3.4641    1.0
        """
        matrix, parts = self._random_covariance(self._position(term)), self._term(term).parts
        sd = np.sqrt(np.maximum(np.diag(matrix), 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            correlation = matrix / np.outer(sd, sd)
        index = pd.Index(parts, name="part")
        return pd.DataFrame({"sd": sd} | dict(zip(parts, correlation.T, strict=True)), index=index)

    def _estimated(self, basis: FloatArray) -> FloatArray:
        """Estimates, shape (c,), of contrasts in the orthogonal basis, by either likelihood."""
        prepared = self.prepared
        coefficients = prepared.fitted + prepared.scale[:, None] * self.point.coefficients
        return np.asarray(with_offset(basis, coefficients, prepared.offset, prepared.constant)[0])

    @property
    def _parameters(self) -> pd.Series:
        values = self.point.variances[0] * self.prepared.scale[0] ** 2
        return pd.Series(values, index=list(self.model.parameter_names))

    def _position(self, term: str) -> int:
        """Position of a random term of this name."""
        names = [each.name for each in self.model.terms]
        if term not in names:
            raise MixedModelError(f"{term!r} is not a random term of this model: {', '.join(names)}.")
        return names.index(term)

    def _term(self, term: str) -> RandomTerm:
        return self.model.terms[self._position(term)]

    def _random_covariance(self, position: int) -> FloatArray:
        """Covariance matrix of the parts of the random term at a position, in squared units of the response."""
        values = self._parameters.to_numpy()[self.model.parameter_slices[position]]
        return covariance_matrix(self.model.terms[position], values)

    @cached_property
    def variance_covariance(self) -> pd.DataFrame:
        """Covariance of the estimates of variances and covariances: inverse of the expected information.

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
        names = [name for name, is_free in zip(self.model.parameter_names, free, strict=True) if is_free]
        inverse = variance_covariance(self.point, self.record.free, self.record.directions)[0]
        covariance = inverse * self.prepared.scale[0] ** 4
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
        return small_sample(self.point, self.record.free, self.prepared, self.record.directions)

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

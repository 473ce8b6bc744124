"""How a response is fitted: variances free, then on bucket means, then at zero or above."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from trialkit.analysis.derived_model import DerivedModel
from trialkit.mixed import MixedFit, NotConverged, fit_mixed
from trialkit.mixed.censored import CensoredFit, fit_censored, fit_same_days

Bounds = Literal["strata", "nonnegative"]


@dataclass(frozen=True)
class Fits:
    """The same model written twice: with the factors crossed, and with one joint treatment factor.

    The joint form keeps every combination that was tried estimable when another was not.
    """

    crossed: MixedFit | CensoredFit
    joint: MixedFit | CensoredFit
    model: DerivedModel
    bounds: Bounds
    rows: pd.DataFrame

    @property
    def settled(self) -> bool:
        """Whether each effect has the degree of freedom that every stratum of a balanced trial has at the least."""
        return bool((self.crossed.anova()["denominator_df"].dropna() >= 1).all())


def fit_response(response: str, heads: pd.DataFrame, model: DerivedModel) -> Fits:
    """Fit with the variances of the strata free, so that a balanced trial keeps exactly its level.

    Where that does not settle on heads, which happens in tiny trials with heads lost, it does on the means of the
    buckets (Yates 1934, J. Am. Stat. Assoc. 29, 51-66, unweighted means); failing that, the variances are held at
    zero or above, and tests are approximate. ``tests/benchmarks/calibration.py`` shows the error rates.

    Raises
    ------
    MixedModelError
        If no way settles.
    """
    *first, last = _attempts(response, heads, model)
    for attempt in first:
        try:
            fits = attempt.fit(response)
        except NotConverged:
            continue
        if fits.settled:
            return fits
    return last.fit(response)


def fit_days(response: str, heads: pd.DataFrame, model: DerivedModel, seed: int) -> Fits:
    """Fit days that were seen only between ``lower`` and ``upper``; as `fit_response` where every day is known.

    The completed sets' variances are free; a set whose variances do not settle so has them held at zero or above, and
    all sets do where an effect is left with less than one degree of freedom.

    Raises
    ------
    MixedModelError
        If no way settles, or a treatment's days are not determined.
    """
    if (heads["lower"] == heads["upper"]).all():
        return fit_response(response, heads.assign(**{response: heads["upper"]}), model)
    crossed, joint = model.formula(response), model.formula(response, "treatment")

    def attempt(model: DerivedModel, bounds: Bounds) -> Fits:
        fit = fit_censored(heads, joint, model.random, bounds=bounds, seed=seed)
        rewritten = fit_same_days(fit, heads, crossed, model.random, bounds=bounds)
        rows = heads.reset_index(drop=True).loc[fit.model.row_labels].assign(**{response: fit.expected_days})
        return Fits(rewritten, fit, model, bounds, rows)

    try:
        free = attempt(model, "strata")
        if free.settled:
            return free
    except NotConverged:
        pass
    return attempt(model.noting("variances_held"), "nonnegative")


@dataclass(frozen=True)
class _Attempt:
    """One way to fit a response."""

    rows: pd.DataFrame
    model: DerivedModel
    bounds: Bounds

    def fit(self, response: str) -> Fits:
        crossed, joint = self.model.formula(response), self.model.formula(response, "treatment")
        return Fits(
            self._fit(crossed),
            self._fit(joint),
            self.model,
            self.bounds,
            self.rows,
        )

    def _fit(self, formula: str) -> MixedFit:
        return fit_mixed(self.rows, formula, self.model.random, bounds=self.bounds, residual_by=self.model.residual_by)


def _attempts(response: str, heads: pd.DataFrame, model: DerivedModel) -> Iterator[_Attempt]:
    """Ways to fit a response, the preferred first."""
    if "bucket" not in model.random:
        yield _Attempt(heads, model, "strata")
        yield _Attempt(heads, model.noting("variances_held"), "nonnegative")
        return
    means = heads.groupby("bucket", as_index=False, sort=False).first()
    means[response] = heads.groupby("bucket", sort=False)[response].mean().to_numpy()
    if (heads.groupby("bucket")[response].nunique() <= 1).all():
        alike = model.on_bucket_means().noting("heads_alike")
        yield _Attempt(means, alike, "strata")
        yield _Attempt(means, alike.noting("variances_held"), "nonnegative")
        return
    if model.residual_by:  # it is buckets whose spread differs, not heads within them
        yield _Attempt(means, model.on_bucket_means(), "strata")
        yield _Attempt(means, model.on_bucket_means().noting("variances_held"), "nonnegative")
        return
    yield _Attempt(heads, model, "strata")
    yield _Attempt(means, model.on_bucket_means(), "strata")
    yield _Attempt(heads, model.noting("variances_held"), "nonnegative")

"""What the buckets say of the model: quantiles in a simulated band, spread at each garden, scale of the response."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from trialkit.documents.findings import Power, QuantilePoint, Scale, SiteSpread
from trialkit.domain.arrays import FloatArray
from trialkit.domain.rounding import TIE_DECIMALS
from trialkit.domain.thresholds import UNEVEN_RATIO
from trialkit.mixed import MixedFit
from trialkit.mixed.model import prepare
from trialkit.mixed.scoring import estimate_each

SIMULATIONS = 999
BAND = 0.95
LEAST_SITE_DF = 5.0
"""Fewer tell next to nothing of a spread: a 95 % interval for the ratio of two spreads on 5 d.f. is 7-fold wide."""
POWERS = np.round(np.arange(-2.0, 2.01, 0.1), 10)
DROP = 3.841458820694124
"""95 % point of chi-square with one degree of freedom."""
LADDER = (0.0, 0.5, 1.0, 2.0)
"""Logarithm, square root, none, square: scales that can be named (Tukey 1977, Exploratory Data Analysis, ch. 3)."""


@dataclass(frozen=True)
class BucketResiduals:
    """Bucket means less their treatment and block means."""

    buckets: Annotated[
        pd.DataFrame,
        "bucket, site, and columns ``residual`` (response's unit), ``studentised`` (externally studentised) and "
        "``spare``, each residual's share of a degree of freedom.",
    ]
    df: Annotated[int, "Degrees of freedom left."]
    basis: Annotated[FloatArray, "Shape (buckets, p). Orthonormal basis of treatments and blocks."]


def bucket_residuals(heads: pd.DataFrame, response: str) -> BucketResiduals:
    """Residuals of bucket means on treatment and block, each bucket counted once.

    Externally studentised: ``e / (s_(i) sqrt(1 - h))`` (Cook & Weisberg 1982, Residuals and Influence in
    Regression, sec. 2.2).
    """
    keys = ["bucket", "site", "block", "treatment"]
    buckets = heads.groupby(keys, observed=True, as_index=False)[response].mean()
    block = buckets.groupby(["site", "block"]).ngroup().to_numpy()
    columns = [_dummies(block), _dummies(pd.factorize(buckets["treatment"])[0])]
    u, s, _ = np.linalg.svd(np.column_stack(columns), full_matrices=False)
    basis = u[:, s > 1e-10 * s[0]]
    y = buckets[response].to_numpy(float)
    residual = y - basis @ (basis.T @ y)
    df, spare = len(y) - basis.shape[1], np.maximum(1 - (basis**2).sum(1), 1e-12)
    studentised = _studentised(residual[None], spare, df)[0]
    return BucketResiduals(buckets.assign(residual=residual, studentised=studentised, spare=spare), df, basis)


def _dummies(codes: NDArray[np.intp]) -> FloatArray:
    return np.eye(int(codes.max()) + 1)[codes]


def _studentised(residual: FloatArray, spare: FloatArray, df: int) -> FloatArray:
    """Externally studentised residuals, shape (sets, buckets)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        deleted = ((residual**2).sum(1, keepdims=True) - residual**2 / spare) / (df - 1)
        return np.asarray(residual / np.sqrt(deleted * spare))


def quantile_points(residuals: BucketResiduals, seed: int) -> tuple[QuantilePoint, ...]:
    """Studentised residuals in order, each beside its normal quantile and a simulated band.

    The band holds, at each rank by itself, 95 of 100 of what residuals of normal errors on the same layout give
    (Atkinson 1985, Plots, Transformations and Regression, sec. 4.2). Quantiles at ``(i - 3/8) / (n + 1/4)`` (Blom
    1958, Statistical Estimates and Transformed Beta-Variables).
    """
    buckets, count = residuals.buckets, len(residuals.buckets)
    errors = np.random.Generator(np.random.PCG64(seed)).standard_normal((SIMULATIONS, count))
    left = errors - (errors @ residuals.basis) @ residuals.basis.T
    drawn = np.sort(_studentised(left, buckets["spare"].to_numpy(float), residuals.df), axis=1)
    lower, upper = np.quantile(drawn, [(1 - BAND) / 2, (1 + BAND) / 2], axis=0)
    expected = ndtri((np.arange(1, count + 1) - 0.375) / (count + 0.25))
    in_order = buckets[["bucket", "site", "studentised"]].iloc[
        np.argsort(buckets["studentised"].round(TIE_DECIMALS), kind="stable")
    ]
    beside = zip(expected, lower, upper, strict=True)
    return tuple(
        QuantilePoint(str(bucket), str(site), float(studentised), *map(float, band))
        for (_, bucket, site, studentised), band in zip(in_order.itertuples(), beside, strict=True)
    )


def site_spread(residuals: BucketResiduals) -> tuple[SiteSpread, ...]:
    """Standard deviation between like buckets at each garden: squares over the degrees of freedom that fall to it."""
    grouped = residuals.buckets.groupby("site", observed=True)
    return tuple(
        SiteSpread(str(site), len(rows), float(rows["spare"].sum()), float(np.sqrt((rows["residual"] ** 2).sum() / df)))
        for site, rows in grouped
        if (df := float(rows["spare"].sum())) > 0.5
    )


def known_spread(residuals: BucketResiduals) -> tuple[SiteSpread, ...]:
    """Spread at the gardens that have degrees of freedom enough to tell."""
    return tuple(one for one in site_spread(residuals) if one.df >= LEAST_SITE_DF)


def is_uneven(spread: tuple[SiteSpread, ...]) -> bool:
    """Whether the spread at one garden is more than three times that at another, both known well enough to say so.

    Of gardens that vary alike and have ten degrees of freedom each, the largest of four standard deviations is over
    three times the smallest in 1 of 100 trials (Pearson & Hartley 1966, Biometrika Tables I, table 31).
    """
    known = [one.sd for one in spread if one.df >= LEAST_SITE_DF]
    return len(known) == len(spread) > 1 and max(known) > UNEVEN_RATIO * min(known)


def scale_of(fit: MixedFit) -> Scale | None:
    """Box & Cox's (1964, J. R. Stat. Soc. B 26, 211-252) profile of the power of a response, through the mixed model.

    Likelihood of ``(y^p - 1) / (p g^(p - 1))`` with g the geometric mean, all variances found anew at each power.
    None where a value is nil, of which there is no logarithm, or where too few powers settle.
    """
    y = fit.response
    if y.min() <= 0:
        return None
    centre = np.exp(np.log(y).mean())
    scaled = np.array([_power(y / centre, power) * centre for power in POWERS])
    prepared = prepare(fit.model, scaled)
    point, record = estimate_each(fit.model, prepared, restricted=False, bounded=fit.bounds == "nonnegative")
    criterion = point.criterion + 2 * len(y) * np.log(prepared.scale)
    settled = record.converged & np.isfinite(criterion)
    if settled.sum() < len(POWERS) // 2 or not settled[np.flatnonzero(POWERS == 1)[0]]:
        return None
    powers, drop = POWERS[settled], criterion[settled] - criterion[settled].min()
    within = powers[drop <= DROP]
    lower, upper = float(within.min()), float(within.max())
    estimate = float(powers[drop.argmin()])
    named = [power for power in LADDER if lower - 1e-9 <= power <= upper + 1e-9]
    chosen = 1.0 if 1.0 in named or not named else min(named, key=lambda power: abs(power - estimate))
    points = tuple(Power(float(p), float(d)) for p, d in zip(powers, drop, strict=True))
    return Scale(estimate, lower, upper, chosen, points)


def to_power(y: FloatArray, power: float) -> FloatArray:
    """Bring a positive response to a scale: its power, or its logarithm where the power is nil."""
    return np.asarray(np.log(y) if power == 0 else y**power)


def from_power(mean: FloatArray, power: float, variance: float) -> FloatArray:
    """Mean of a response from the mean of its power and the variance around that.

    Exact for normal logarithms and square roots; of squares to second order (Miller 1984, Am. Stat. 38, 124-126).
    """
    if power == 0:
        return np.asarray(np.exp(mean + variance / 2))
    if power == 0.5:
        return np.asarray(np.maximum(mean, 0.0) ** 2 + variance)
    if power == 2.0:
        mean = np.maximum(mean, variance**0.5)
        return np.asarray(np.sqrt(mean) * (1 - variance / (8 * mean**2)))
    return mean


def _power(y: FloatArray, power: float) -> FloatArray:
    return np.log(y) if power == 0 else (y**power - 1) / power

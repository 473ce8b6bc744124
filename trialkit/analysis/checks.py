"""Checks of the model that change what the report says, and what their pictures show.

Residuals of buckets in a simulated band, their spread at each garden, the scale of the response, single buckets that
stand out, replication, and records that are missing.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri, stdtr

from trialkit.documents.findings import (
    Check,
    Diagnostics,
    Interval,
    MissingCheck,
    OutlierCheck,
    Power,
    QuantilePoint,
    ReplicationCheck,
    ResidualsCheck,
    Scale,
    ScaleCheck,
    ShapeCheck,
    SiteSpread,
    SpreadCheck,
)
from trialkit.domain.arrays import FloatArray
from trialkit.domain.rounding import ROUNDING, TIE_DECIMALS
from trialkit.domain.thresholds import FEWEST_ERROR_DF, SUSPICIOUS_P, UNEVEN_RATIO
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit
from trialkit.mixed.model import prepare
from trialkit.mixed.scoring import estimate_each

SUSPICIOUS_MISSING_P = 0.05
FEWEST_BUCKETS_TO_TEST = 8
SIMULATIONS = 999
BAND = 0.95
LEAST_SITE_DF = 5.0
"""Fewer tell next to nothing of a spread: a 95 % interval for the ratio of two spreads on 5 d.f. is 7-fold wide."""
POWERS = np.round(np.arange(-2.0, 2.01, 0.1), 10)
DROP = 3.841458820694124
"""95 % point of chi-square with one degree of freedom."""
LADDER = (0.0, 0.5, 1.0, 2.0)
"""Logarithm, square root, none, square: scales that can be named (Tukey 1977, Exploratory Data Analysis, ch. 3)."""


def diagnose(heads: pd.DataFrame, response: str, scale: Scale | None, seed: int) -> Diagnostics | None:
    """What the pictures of the checks show; None where the buckets leave too little to tell."""
    residuals = bucket_residuals(heads, response)
    if residuals.df < FEWEST_BUCKETS_TO_TEST or _do_not_vary(residuals, heads, response):
        return None
    return Diagnostics(quantile_points(residuals, seed), site_spread(residuals), scale)


def _do_not_vary(residuals: BucketResiduals, heads: pd.DataFrame, response: str) -> bool:
    return bool(residuals.buckets["residual"].abs().max() <= ROUNDING * heads[response].abs().max())


def model_checks(
    heads: pd.DataFrame, response: str, replication: ReplicationCheck | None, scale: Scale | None
) -> tuple[Check, ...]:
    """Check replication, the shape and spread of bucket residuals, the scale, and single buckets that stand out.

    Rows are heads, with bucket, site, block, ``treatment`` and the response.
    """
    return (*([replication] if replication else ()), *_residual_checks(heads, response, scale))


def _residual_checks(heads: pd.DataFrame, response: str, scale: Scale | None) -> Iterator[Check]:
    residuals = bucket_residuals(heads, response)
    if _do_not_vary(residuals, heads, response):
        yield ResidualsCheck(vary=False, df=residuals.df)
        return
    if residuals.df < FEWEST_BUCKETS_TO_TEST:
        yield ResidualsCheck(vary=True, df=residuals.df)
        return
    yield _shape(residuals)
    if len(known_spread(residuals)) > 1:
        yield _spread(residuals)
    yield _outlier(residuals)
    if scale is not None:
        fits = scale.lower <= 1 <= scale.upper
        yield ScaleCheck(ok=fits, power=Interval(scale.estimate, scale.lower, scale.upper), chosen=scale.chosen)


def missing_buckets(layout: pd.DataFrame, recorded: pd.Series, columns: Sequence[str], seed: int) -> MissingCheck:
    """Ask whether buckets without a record are spread evenly over the levels of each factor.

    Fisher's exact test, for more than two levels by Monte Carlo, as scipy does it; allowing for all factors
    (Bonferroni).
    """
    missing = ~layout["bucket"].isin(recorded)
    count = int(missing.sum())
    if not count:
        return MissingCheck(ok=True, buckets=len(layout), missing=0, p=1.0)
    from scipy.stats import MonteCarloMethod, fisher_exact  # half a second: only where a record is missing

    found: list[tuple[float, str | None]] = []
    for column in columns:
        table = pd.crosstab(layout[column], missing).to_numpy()
        drawn = None if len(table) == 2 else MonteCarloMethod(n_resamples=9999, rng=np.random.default_rng(seed))
        if table.shape[1] == 2:
            found.append((min(1.0, float(fisher_exact(table, method=drawn).pvalue) * len(columns)), column))
    p, most = min(found, default=(1.0, None))
    rate = None if most is None else missing.groupby(layout[most], observed=True).mean()
    return MissingCheck(
        ok=p >= SUSPICIOUS_MISSING_P,
        buckets=len(layout),
        missing=count,
        p=p,
        column=most,
        level=None if rate is None else rate.idxmax(),
    )


def replication_check(effects: Mapping[str | Treatment, float]) -> ReplicationCheck | None:
    """Name the effect, or the treatment compared with the practice, with the fewest degrees of freedom for error.

    None where the records determine no effect, and nothing can be compared with the practice.
    """
    if not effects:
        return None
    least = min(effects, key=lambda one: round(effects[one], TIE_DECIMALS))
    ok, df = effects[least] >= FEWEST_ERROR_DF, effects[least]
    if isinstance(least, Treatment):
        return ReplicationCheck(ok=ok, treatment=least, df=df)
    return ReplicationCheck(ok=ok, term=least, df=df)


def _shape(residuals: BucketResiduals) -> ShapeCheck:
    """Shapiro & Wilk's test of the bucket residuals."""
    from scipy.stats import shapiro

    p = float(shapiro(residuals.buckets["residual"]).pvalue)
    return ShapeCheck(ok=p >= SUSPICIOUS_P, buckets=len(residuals.buckets), p=p)


def _spread(residuals: BucketResiduals) -> SpreadCheck:
    """Levene's test of equal spread between sites (Brown and Forsythe's form, about medians)."""
    from scipy.stats import levene

    groups = [group.to_numpy() for _, group in residuals.buckets.groupby("site", observed=True)["residual"]]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a site with too few buckets is reported by the missing p, not by a warning
        p = float(levene(*groups, center="median").pvalue)
    spread = known_spread(residuals)
    uneven = is_uneven(spread)
    return SpreadCheck(
        ok=not p < SUSPICIOUS_P and not uneven,
        lowest=min(spread, key=lambda one: one.sd),
        highest=max(spread, key=lambda one: one.sd),
        p=p,
        uneven=uneven,
    )


def _outlier(residuals: BucketResiduals) -> OutlierCheck:
    """Look at the bucket with the largest studentised residual, allowing for having looked at all (Bonferroni)."""
    at = residuals.buckets["studentised"].abs().round(TIE_DECIMALS).idxmax()
    row = residuals.buckets.loc[at]
    p = min(1.0, 2 * float(stdtr(residuals.df - 1, -abs(row["studentised"]))) * len(residuals.buckets))
    return OutlierCheck(
        ok=p >= SUSPICIOUS_P,
        bucket=str(row["bucket"]),
        site=str(row["site"]),
        residual=float(row["residual"]),
        p=p,
    )


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

    The band holds all residuals of 95 of 100 trials of normal errors on the same layout, so that a dot outside says
    something: quantiles at each rank (Atkinson 1985, Plots, Transformations and Regression, sec. 4.2), widened at all
    ranks by one factor (Myllymäki et al. 2017, J. R. Statist. Soc. B 79, 381-404, directional quantiles; from memory).
    Quantiles at ``(i - 3/8) / (n + 1/4)`` (Blom
    1958, Statistical Estimates and Transformed Beta-Variables).
    """
    buckets, count = residuals.buckets, len(residuals.buckets)
    errors = np.random.Generator(np.random.PCG64(seed)).standard_normal((SIMULATIONS, count))
    left = errors - (errors @ residuals.basis) @ residuals.basis.T
    drawn = np.sort(_studentised(left, buckets["spare"].to_numpy(float), residuals.df), axis=1)
    lower, upper = _band_as_a_whole(drawn)
    expected = ndtri((np.arange(1, count + 1) - 0.375) / (count + 0.25))
    in_order = buckets[["bucket", "site", "studentised"]].iloc[
        np.argsort(buckets["studentised"].round(TIE_DECIMALS), kind="stable")
    ]
    beside = zip(expected, lower, upper, strict=True)
    return tuple(
        QuantilePoint(str(bucket), str(site), float(studentised), *map(float, band))
        for (_, bucket, site, studentised), band in zip(in_order.itertuples(), beside, strict=True)
    )


def _band_as_a_whole(drawn: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Limits, shape (ranks,), within which whole rows of ``drawn``, shape (trials, ranks), lie at the band's share."""
    lower, middle, upper = np.quantile(drawn, [(1 - BAND) / 2, 0.5, (1 + BAND) / 2], axis=0)
    away = np.maximum((drawn - middle) / (upper - middle), (middle - drawn) / (middle - lower)).max(axis=1)
    factor = np.quantile(away, BAND)
    return middle - factor * (middle - lower), middle + factor * (upper - middle)


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

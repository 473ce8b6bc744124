"""Checks of the model that change what the report says."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd

from trialkit.analysis.diagnostics import (
    BucketResiduals,
    bucket_residuals,
    is_uneven,
    known_spread,
    quantile_points,
    site_spread,
)
from trialkit.documents.findings import (
    Check,
    Diagnostics,
    Interval,
    MissingCheck,
    OutlierCheck,
    ReplicationCheck,
    ResidualsCheck,
    Scale,
    ScaleCheck,
    ShapeCheck,
    SiteSpread,
    SpreadCheck,
)
from trialkit.domain.rounding import ROUNDING, TIE_DECIMALS
from trialkit.domain.thresholds import FEWEST_ERROR_DF, SUSPICIOUS_P
from trialkit.domain.treatment import Treatment

SUSPICIOUS_MISSING_P = 0.05
FEWEST_BUCKETS_TO_TEST = 8


def diagnose(heads: pd.DataFrame, response: str, scale: Scale | None, seed: int) -> Diagnostics | None:
    """What the pictures of the checks show; None where the buckets leave too little to tell."""
    residuals = bucket_residuals(heads, response)
    if residuals.df < FEWEST_BUCKETS_TO_TEST or _do_not_vary(residuals, heads, response):
        return None
    return Diagnostics(quantile_points(residuals, seed), site_spread(residuals), scale)


def _do_not_vary(residuals: BucketResiduals, heads: pd.DataFrame, response: str) -> bool:
    return bool(residuals.buckets["residual"].abs().max() <= ROUNDING * heads[response].abs().max())


def model_checks(
    heads: pd.DataFrame, response: str, replication: ReplicationCheck, scale: Scale | None
) -> tuple[Check, ...]:
    """Check replication, the shape and spread of bucket residuals, the scale, and single buckets that stand out.

    Rows are heads, with bucket, site, block, ``treatment`` and the response.
    """
    return replication, *_residual_checks(heads, response, scale)


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


def replication_check(effects: Mapping[str | Treatment, float]) -> ReplicationCheck:
    """Name the effect, or the treatment compared with the practice, with the fewest degrees of freedom for error."""
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
        lowest=min(spread, key=_sd),
        highest=max(spread, key=_sd),
        p=p,
        uneven=uneven,
    )


def _sd(spread: SiteSpread) -> float:
    return spread.sd


def _outlier(residuals: BucketResiduals) -> OutlierCheck:
    """Look at the bucket with the largest studentised residual, allowing for having looked at all (Bonferroni)."""
    from scipy.special import stdtr

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

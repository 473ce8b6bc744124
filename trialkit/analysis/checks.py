"""Checks of the model that change what the report says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from trialkit.analysis.diagnostics import (
    UNEVEN_RATIO,
    BucketResiduals,
    bucket_residuals,
    is_uneven,
    known_spread,
    quantile_points,
    site_spread,
)
from trialkit.documents.findings import Check, Diagnostics, Scale, SiteSpread
from trialkit.domain.rounding import ROUNDING, TIE_DECIMALS
from trialkit.stats.assumptions import levene_p, shapiro_wilk_p
from trialkit.words.phrases import level_words, number, p_value

FEWEST_ERROR_DF = 12  # EPPO PP 1/152(4), 2012: at least 12 residual degrees of freedom
SUSPICIOUS_P = 0.01
SUSPICIOUS_MISSING_P = 0.05
FEWEST_BUCKETS_TO_TEST = 8


def diagnose(heads: pd.DataFrame, response: str, scale: Scale | None, seed: int) -> Diagnostics | None:
    """What the pictures of the checks show; None where the buckets leave too little to tell.

    Parameters
    ----------
    heads : pandas.DataFrame
        As for `model_checks`.
    response : str
    scale : Scale, optional
        Of the response.
    seed : int
        Of the simulated band.
    """
    residuals = bucket_residuals(heads, response)
    if residuals.df < FEWEST_BUCKETS_TO_TEST or _do_not_vary(residuals, heads, response):
        return None
    return Diagnostics(quantile_points(residuals, seed), site_spread(residuals), scale)


def _do_not_vary(residuals: BucketResiduals, heads: pd.DataFrame, response: str) -> bool:
    return bool(residuals.buckets["residual"].abs().max() <= ROUNDING * heads[response].abs().max())


def model_checks(
    heads: pd.DataFrame, response: str, unit: str, error_df: tuple[str, float], scale: Scale | None
) -> tuple[Check, ...]:
    """Check replication, the shape and spread of bucket residuals, the scale, and single buckets that stand out.

    Parameters
    ----------
    heads : pandas.DataFrame
        One row a head, with bucket, site, block, ``treatment`` and the response.
    response, unit : str
    error_df : tuple of (str, float)
        The effect with the fewest degrees of freedom for error, and these.
    scale : Scale, optional
        Of the response.
    """
    return _replication(*error_df), *_residual_checks(heads, response, unit, scale)


def _residual_checks(heads: pd.DataFrame, response: str, unit: str, scale: Scale | None) -> Iterator[Check]:
    residuals = bucket_residuals(heads, response)
    if _do_not_vary(residuals, heads, response):
        yield Check(
            "residuals",
            "Variation between like buckets",
            "Buckets treated alike in a block do not differ at all.",
            "Records of living things vary: were these weighed, or written down from one figure?",
            False,
        )
        return
    if residuals.df < FEWEST_BUCKETS_TO_TEST:
        yield Check(
            "residuals",
            "Buckets enough to check the model",
            f"Only {residuals.df} degrees of freedom are left among the bucket means.",
            "The intervals rest on the assumption that buckets vary alike and symmetrically; it could not be checked.",
            False,
        )
        return
    yield _shape(residuals)
    if len(known_spread(residuals)) > 1:
        yield _spread(residuals)
    yield _outlier(residuals, unit)
    if scale is not None:
        yield _scale(scale)


def missing_buckets(layout: pd.DataFrame, recorded: pd.Series, columns: Sequence[str], seed: int) -> Check:
    """Ask whether buckets without a record are spread evenly over the levels of each factor.

    Fisher's exact test, for more than two levels by Monte Carlo, as scipy does it; allowing for all factors
    (Bonferroni).

    Parameters
    ----------
    layout : pandas.DataFrame
        One row a bucket, with the factors.
    recorded : pandas.Series
        Buckets that have a record.
    columns : sequence of str
        The varied factors.
    seed : int
    """
    missing = ~layout["bucket"].isin(recorded)
    count, title = int(missing.sum()), "Buckets without a record"
    if not count:
        return Check("missing", title, f"All {len(layout)} buckets have a record.", "Nothing to do.", True)
    from scipy.stats import MonteCarloMethod, fisher_exact  # half a second: only where a record is missing

    found = []
    for column in columns:
        table = pd.crosstab(layout[column], missing).to_numpy()
        drawn = None if len(table) == 2 else MonteCarloMethod(n_resamples=9999, rng=np.random.default_rng(seed))
        if table.shape[1] == 2:
            found.append((min(1.0, float(fisher_exact(table, method=drawn).pvalue) * len(columns)), column))
    p, column = min(found, default=(1.0, ""))
    rate = missing.groupby(layout[column], observed=True).mean() if column else missing
    ok = p >= SUSPICIOUS_MISSING_P
    return Check(
        "missing",
        title,
        f"{count} of {len(layout)} buckets have no record; {_evidence(p)} that this goes with the treatment.",
        "Nothing to do."
        if ok
        else f"They are missing most often under {level_words(column, rate.idxmax())}: if they were given up because "
        "they did badly, that treatment looks better than it is. Ask what became of them.",
        ok,
    )


def _replication(effect: str, df: float) -> Check:
    ok = df >= FEWEST_ERROR_DF
    return Check(
        "replication",
        "Replication",
        f"Least is known of {effect}: {df:.1f} degrees of freedom for error; {FEWEST_ERROR_DF} or more are usual.",
        "Nothing to do."
        if ok
        else "Intervals are wide because there are few buckets or gardens; another season would help most.",
        ok,
    )


def _evidence(p: float) -> str:
    """Say how much a test's p value speaks for its alternative."""
    strength = "strong" if p < SUSPICIOUS_P else "weak" if p < 0.1 else "no"
    return f"{strength} evidence ({p_value(p)})"


def _shape(residuals: BucketResiduals) -> Check:
    """Shapiro & Wilk's test of the bucket residuals."""
    p = shapiro_wilk_p(residuals.buckets["residual"].to_numpy(float))
    ok = p >= SUSPICIOUS_P
    return Check(
        "shape",
        "Shape of the variation between buckets",
        f"Over {len(residuals.buckets)} buckets, {_evidence(p)} against a bell shape (Shapiro-Wilk).",
        "Nothing to do."
        if ok
        else "A few buckets are far from the rest or the spread is lopsided: read the intervals as approximate.",
        ok,
    )


def _spread(residuals: BucketResiduals) -> Check:
    """Levene's test of equal spread between sites (Brown and Forsythe's form, about medians)."""
    groups = [group.to_numpy() for _, group in residuals.buckets.groupby("site", observed=True)["residual"]]
    p = levene_p(groups)
    spread = known_spread(residuals)
    low, high = min(spread, key=_sd), max(spread, key=_sd)
    return Check(
        "spread",
        "Spread within each garden",
        f"Standard deviations between like buckets run from {number(low.sd)} at {low.site} to {number(high.sd)} at "
        f"{high.site} (Levene: {_evidence(p)} that they differ).",
        _spread_consequence(spread, high, fine=not p < SUSPICIOUS_P),
        not p < SUSPICIOUS_P and not is_uneven(spread),
    )


def _sd(spread: SiteSpread) -> float:
    return spread.sd


def _spread_consequence(spread: tuple[SiteSpread, ...], high: SiteSpread, *, fine: bool) -> str:
    if is_uneven(spread):
        return (
            f"That is more than {UNEVEN_RATIO:g} times as much, so each garden was given a variance of its own, and "
            f"{high.site} counts for less."
        )
    return (
        "Nothing to do." if fine else f"Buckets at {high.site} vary most: its results count for more than they should."
    )


SCALES = {0.0: "the logarithm", 0.5: "the square root", 2.0: "the square"}


def _scale(scale: Scale) -> Check:
    """Say whether another scale of the response would fit better."""
    found = (
        f"Best power {number(scale.estimate, 2)} (95 % interval {number(scale.lower, 2)} to {number(scale.upper, 2)})"
    )
    if scale.lower <= 1 <= scale.upper:
        return Check("scale", "Scale of the response", f"{found}: 1, the scale as it is, fits.", "Nothing to do.", True)
    if scale.chosen == 1:
        return Check(
            "scale",
            "Scale of the response",
            f"{found}: neither the scale as it is nor one with a name.",
            "Read the intervals as approximate.",
            False,
        )
    return Check(
        "scale",
        "Scale of the response",
        f"{found}: {SCALES[scale.chosen]} would fit better.",
        "Means and intervals are on the scale as it is. The decision was made anew on the other scale, and it is used "
        "only where it decides otherwise, which is then said first.",
        False,
    )


def _outlier(residuals: BucketResiduals, unit: str) -> Check:
    """Look at the bucket with the largest studentised residual, allowing for having looked at all (Bonferroni)."""
    from scipy.special import stdtr

    at = residuals.buckets["studentised"].abs().round(TIE_DECIMALS).idxmax()
    row = residuals.buckets.loc[at]
    p = min(1.0, 2 * float(stdtr(residuals.df - 1, -abs(row["studentised"]))) * len(residuals.buckets))
    ok = p >= SUSPICIOUS_P
    return Check(
        "outlier",
        "Single buckets that stand out",
        f"Bucket {row['bucket']} at {row['site']} lies {abs(row['residual']):.3g} {unit} "
        f"{'above' if row['residual'] > 0 else 'below'} what its treatment and block lead one to expect "
        f"({'may well be chance' if ok else 'hardly chance'}: {p_value(p)}, allowing for all buckets).",
        "Nothing to do."
        if ok
        else "Look at this bucket's record before relying on the answer: a slip of the pen is likely.",
        ok,
    )

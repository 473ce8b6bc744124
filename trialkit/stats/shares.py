"""Shares of heads that were marketable: intervals and tests with the bucket as the cluster.

Heads of one bucket live and die together, so they count for fewer than they are: counts are divided by the design
effect, buckets' overdispersion (Rao & Scott 1992, Biometrics), and then go through methods for independent
heads that stay finite when nothing or everything was lost: Clopper and Pearson's interval of a share (so used by Korn &
Graubard 1998, Survey Methodology 24, 193-201), Newcombe's of a difference (1998, Statistics in Medicine 17, 873-890),
Pearson's test. A logistic mixed model or generalised estimating equations would run off to infinity under a treatment
without a loss, which in these trials is the usual case.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import betainccinv, betaincinv, chdtrc, ndtri

from trialkit.domain.arrays import FloatArray
from trialkit.domain.heads import is_usable

# Pearson's test: no expected count below the first, and no more than this share below the second (Cochran 1954,
# Biometrics 10, 417-451).
LEAST_EXPECTED, FEW_EXPECTED, SHARE_FEW = 1.0, 5.0, 0.2


@dataclass(frozen=True)
class Share:
    """A share with its interval; missing where no head has a record."""

    share: float
    lower: float
    upper: float


@dataclass(frozen=True)
class ShareTest:
    """Pearson's test that the shares of several levels are the same; p is None where too few were lost to tell."""

    chi_square: float | None
    df: int
    p: float | None


def usable_heads(heads: pd.DataFrame, keys: Sequence[str]) -> pd.DataFrame:
    """Count the heads of each bucket that have a record and, of these, those that were marketable.

    Heads have ``bucket``, ``outcome``, ``marketable`` (missing where not said) and the keys, columns that are the same
    throughout a bucket, such as the joint ``treatment``. Given back are ``bucket``, the keys, ``usable``, ``recorded``.
    """
    usable = is_usable(heads)
    grouped = heads.assign(usable=usable.astype(int)).groupby(["bucket", *keys], observed=True)["usable"]
    return grouped.agg(usable="sum", recorded="size").reset_index()


def overdispersion(buckets: pd.DataFrame) -> float:
    """Variance of buckets' usable shares in units of the binomial's, pooled over treatments; 1 at the least.

    Pearson's chi-square over its degrees of freedom, of buckets about their treatment's share. Gardens differ too,
    which makes it rather too large than too small.

    Buckets have ``treatment``, heads ``recorded`` and, of these, ``usable``.
    """
    grouped = buckets.groupby("treatment", observed=True)
    share = (grouped["usable"].transform("sum") / grouped["recorded"].transform("sum")).to_numpy(float)
    varied = (share > 0) & (share < 1) & (buckets["recorded"].to_numpy() > 0)
    df = int(varied.sum()) - buckets.loc[varied, "treatment"].nunique()
    if df < 1:
        return 1.0
    n, x, p = (part[varied] for part in (buckets["recorded"].to_numpy(float), buckets["usable"].to_numpy(float), share))
    return max(float(((x - n * p) ** 2 / (n * p * (1 - p))).sum() / df), 1.0)


def share_with_limits(usable: float, recorded: float, dispersion: float, confidence: float) -> Share | None:
    """A share with Clopper and Pearson's interval on the effective number of heads."""
    if not recorded:
        return None
    x, n, tail = usable / dispersion, recorded / dispersion, (1 - confidence) / 2
    lower = float(betaincinv(x, n - x + 1, tail)) if usable else 0.0
    upper = float(betainccinv(x + 1, n - x, tail)) if usable < recorded else 1.0
    return Share(usable / recorded, lower, upper)


def difference_with_limits(
    first: tuple[float, float], second: tuple[float, float], dispersion: float, confidence: float
) -> Share | None:
    """Difference of two shares, each given as (usable, recorded), with Newcombe's interval on effective numbers."""
    if not first[1] or not second[1]:
        return None
    shares = np.array([first[0] / first[1], second[0] / second[1]])
    lower, upper = _wilson_limits(shares, np.array([first[1], second[1]]) / dispersion, confidence)
    difference = float(shares[0] - shares[1])
    down, up = np.hypot(shares - lower, (upper - shares)[::-1])
    return Share(difference, difference - float(down), difference + float(up))


def _wilson_limits(shares: FloatArray, heads: FloatArray, confidence: float) -> tuple[FloatArray, FloatArray]:
    """Limits of single shares by the score (Wilson 1927, J. Am. Stat. Assoc. 22, 209-212)."""
    z = float(ndtri((1 + confidence) / 2))
    middle = shares + z**2 / (2 * heads)
    half = z * np.sqrt(shares * (1 - shares) / heads + z**2 / (4 * heads**2))
    return (middle - half) / (1 + z**2 / heads), (middle + half) / (1 + z**2 / heads)


def compare_shares(usable: FloatArray, recorded: FloatArray, dispersion: float) -> ShareTest:
    """Test that levels share one share, shape (levels,): Pearson's chi-square over the design effect."""
    known = recorded > 0
    x, n = usable[known] / dispersion, recorded[known] / dispersion
    df = int(known.sum()) - 1
    table = np.array([x, n - x])
    if df < 1 or not (table.sum(1) > 0).all():
        return ShareTest(None, max(df, 0), None)
    expected = np.outer(table.sum(1), table.sum(0)) / table.sum()
    statistic = float(((table - expected) ** 2 / expected).sum())
    if expected.min() < LEAST_EXPECTED or (expected < FEW_EXPECTED).mean() > SHARE_FEW:
        return ShareTest(statistic, df, None)
    return ShareTest(statistic, df, float(chdtrc(df, statistic)))


def factor_counts(buckets: pd.DataFrame, column: str) -> Iterator[tuple[object, float, float]]:
    """Level, usable and recorded heads of each level of a factor."""
    counts = buckets.groupby(column, observed=True)[["usable", "recorded"]].sum()
    for level, row in counts.iterrows():
        yield level, float(row["usable"]), float(row["recorded"])

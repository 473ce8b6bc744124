"""Shares of heads that were marketable: intervals and tests with gardens, blocks and buckets as clusters.

Heads of one bucket, block or garden fare alike, so they count for fewer than they are. How alike comes from the
variances of a logistic mixed model: they give the variance of a share as recorded, and so the number of independent
heads that would tell as much. These go through methods that stay finite when nothing or everything was lost: Clopper
and Pearson's interval of a share (so used by Korn & Graubard 1998, Survey Methodology 24, 193-201, who also widen it
by t, since few clusters say little of how they differ), Newcombe's of a difference (1998, Statistics in Medicine 17,
873-890) on the heads that tell as much of the difference, from which gardens in common are gone. Limits of the
model's own estimates would run off to infinity under a treatment without a loss, which in these trials is the usual
case. So would Wald's test of the model's effects: that shares are the same is tested by the score, with the covariance
that the shares would have if it were so, which is Pearson's test where clusters play no part. Where no model could be
fitted, counts are divided by the design effect, buckets' overdispersion (Rao & Scott 1992, Biometrics).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated

import numpy as np
import pandas as pd
from scipy.special import betainccinv, betaincinv, chdtrc, expit, factorial, fdtrc, ndtri, stdtrit

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.domain.heads import is_usable

# Test of equal shares: no expected count below the first, and no more than this share below the second (Cochran 1954,
# Biometrics 10, 417-451).
LEAST_EXPECTED, FEW_EXPECTED, SHARE_FEW = 1.0, 5.0, 0.2
HERMITE_NODES, HERMITE_ORDER = 61, 24
LARGEST_LOGIT, HALVINGS = 60.0, 60


@dataclass(frozen=True)
class Share:
    """A share with its interval; missing where no head has a record."""

    share: float
    lower: float
    upper: float


@dataclass(frozen=True)
class ShareTest:
    """Score test that the shares of several levels are the same; p is None where too few were lost to tell."""

    chi_square: float | None
    df: int
    denominator_df: Annotated[float | None, "Of F, which is chi-square over its d.f.; None where they have no end."]
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


@dataclass(frozen=True)
class Clusters:
    """A grouping of buckets that fare alike: a random term of the model of shares."""

    of: Annotated[IntArray, "Shape (buckets,). Which of them each bucket is in."]
    variance: Annotated[float, "Of the logit, between them, by maximum likelihood."]
    df: Annotated[float, "Degrees of freedom between them."]
    lost: Annotated[float, "Degrees of freedom that the means take, for each that is left: likelihood counts them all."]


@dataclass(frozen=True)
class GroupShares:
    """Shares of groups of buckets, such as those of a treatment, and how well they are known."""

    labels: tuple[object, ...]
    usable: Annotated[FloatArray, "Shape (groups,)."]
    recorded: Annotated[FloatArray, "Shape (groups,)."]
    parts: Annotated[FloatArray, "Shape (sources, groups, groups). Covariances of the shares, by what they come from."]
    df: Annotated[FloatArray, "Shape (sources,). Degrees of freedom by which each is known."]

    def share(self, group: int, confidence: float) -> Share | None:
        """Clopper and Pearson's interval on the effective number of heads, widened by t."""
        n = float(self.recorded[group])
        if not n:
            return None
        share = float(self.usable[group]) / n
        wider = float(ndtri((1 + confidence) / 2)) / self._quantile(np.eye(len(self.labels))[group], confidence)
        heads = min(self._effective[group] * wider**2, n)
        x, tail = share * heads, (1 - confidence) / 2
        lower = float(betaincinv(x, heads - x + 1, tail)) if x else 0.0
        upper = float(betainccinv(x + 1, heads - x, tail)) if share < 1 else 1.0
        return Share(share, lower, upper)

    def difference(self, first: int, second: int, confidence: float) -> Share | None:
        """Difference of two shares with Newcombe's interval on effective numbers of heads."""
        pair = np.array([first, second])
        if not self.recorded[pair].all():
            return None
        shares = self.usable[pair] / self.recorded[pair]
        contrast = np.zeros(len(self.labels))
        contrast[pair] = 1.0, -1.0
        near = _off_the_edge(self.usable[pair], self.recorded[pair])
        alone = near * (1 - near) / self.recorded[pair]
        # What both have in common is gone from their difference, and cannot be taken off limits that lie askew.
        design_effect = float(contrast @ self.parts.sum(0) @ contrast) / float(alone.sum())
        heads = self.recorded[pair] / design_effect
        lower, upper = _score_limits(shares, heads, self._quantile(contrast, confidence))
        difference = float(shares[0] - shares[1])
        down, up = np.hypot(shares - lower, (upper - shares)[::-1])
        return Share(difference, difference - float(down), difference + float(up))

    @cached_property
    def _effective(self) -> FloatArray:
        """Numbers of independent heads that would tell as much, shape (groups,)."""
        share = _off_the_edge(self.usable, self.recorded)
        return np.asarray(share * (1 - share) / np.diag(self.parts.sum(0)))

    def compare(self) -> ShareTest:
        """Test that all shares are the same; covariances must be what they are if so (``alike``).

        What clusters do to all groups alike drops out. The others' part in the statistic gives the degrees of freedom
        of F, as Satterthwaite's are of one contrast.
        """
        known = self.recorded > 0
        x, n, parts = self.usable[known], self.recorded[known], self.parts[:, known][:, :, known]
        df, pooled = int(known.sum()) - 1, float(x.sum() / max(n.sum(), 1.0))
        if df < 1 or not 0 < pooled < 1:
            return ShareTest(None, max(df, 0), None, None)
        inverse = np.linalg.inv(parts.sum(0))
        row = inverse.sum(0)
        weight = inverse - np.outer(row, row) / row.sum()
        statistic = float(x / n @ weight @ (x / n))
        # As many heads would tell as much of a difference, were they independent.
        heads = pooled * (1 - pooled) * np.diag(weight) / (1 - n / n.sum())
        expected = np.outer([pooled, 1 - pooled], heads)
        if expected.min() < LEAST_EXPECTED or (expected < FEW_EXPECTED).mean() > SHARE_FEW:
            return ShareTest(statistic, df, None, None)
        of_source = np.maximum(np.einsum("gh,shg->s", weight, parts), 0.0) / df
        unknown = float((of_source**2 / self.df).sum())
        if not unknown:
            return ShareTest(statistic, df, None, float(chdtrc(df, statistic)))
        denominator_df = float(of_source.sum() ** 2 / unknown)
        return ShareTest(statistic, df, denominator_df, float(fdtrc(df, denominator_df, statistic / df)))

    def _quantile(self, contrast: FloatArray, confidence: float) -> float:
        """Of t, with Satterthwaite's degrees of freedom (1946, Biometrics Bulletin 2, 110-114)."""
        parts = np.maximum(np.einsum("g,sgh,h->s", contrast, self.parts, contrast), 0.0)
        tail, known = (1 + confidence) / 2, float((parts**2 / self.df).sum())
        return float(stdtrit(parts.sum() ** 2 / known, tail) if known else ndtri(tail))


def shares_by_design_effect(
    buckets: pd.DataFrame, column: str, dispersion: float, *, alike: bool = False
) -> GroupShares:
    """Shares by level of a column, heads of a bucket faring alike and everything else by chance.

    Buckets have the column, heads ``recorded`` and, of these, ``usable``. With ``alike`` covariances are those that the
    shares would have if all levels had the same one.
    """
    labels, usable, recorded = _counts(buckets, column)
    share = _assumed(usable, recorded, alike)
    variance = dispersion * share * (1 - share) / np.maximum(recorded, 1.0)
    return GroupShares(labels, usable, recorded, np.diag(variance)[None], np.array([np.inf]))


def shares_by_clusters(
    buckets: pd.DataFrame,
    column: str,
    clusters: Sequence[Clusters],
    bucket_variance: float,
    *,
    alike: bool = False,
) -> GroupShares:
    """Shares by level of a column, heads faring alike as a model of their logits says.

    Each variance is known as well as the mean square of its clusters, which has in it what is finer (Satterthwaite);
    the clusters of fewer degrees of freedom are the coarser.

    The covariance of two heads that share some clusters is a power series in the part that these have in the variance
    of the logit, by Hermite's polynomials (Mehler 1866). What clusters do together beyond their sum is the bucket's.

    Buckets, a row each, and ``alike`` are as for `shares_by_design_effect`.
    """
    labels, usable, recorded = _counts(buckets, column)
    share = _assumed(usable, recorded, alike)
    total = bucket_variance + sum(one.variance for one in clusters)
    by_order, together = _covariances(share, float(np.sqrt(total)))
    group = buckets[column].map({label: i for i, label in enumerate(labels)}).to_numpy(int)
    weight = buckets["recorded"].to_numpy(float) / np.maximum(recorded, 1.0)[group]
    parts, left = [], together
    for one in clusters:
        power = (one.variance / total) ** np.arange(1, HERMITE_ORDER + 1) if total else np.zeros(HERMITE_ORDER)
        between = (by_order * power) @ by_order.T
        summed = np.zeros((len(labels), one.of.max() + 1))
        np.add.at(summed, (group, one.of), weight)
        parts.append(between * (summed @ summed.T))
        left = left - between
    own = np.bincount(group, weight**2, len(labels))
    heads = (share * (1 - share) - np.diag(together)) / np.maximum(recorded, 1.0)
    parts.append(np.diag(np.diag(left) * own + heads))
    found, df = np.array(parts), np.array([*(one.df for one in clusters), np.inf])
    pooled, known = found.mean((1, 2)), df.copy()
    for i, one in enumerate(clusters):
        if pooled[i] > 0:
            finer = pooled[df > one.df].sum() / pooled[i]
            grown = 1 + one.lost * (1 + finer)
            found[i] *= grown
            known[i] = one.df / (1 + finer / grown) ** 2
    return GroupShares(labels, usable, recorded, found, known)


def _covariances(share: FloatArray, sd: float) -> tuple[FloatArray, FloatArray]:
    """Of chances whose logits are normal with one standard deviation and whose means are the shares.

    By order of Hermite's polynomials, shape (shares, orders): covariances are sums of products over orders, each
    times the correlation of the logits to its power; and in all where logits are the same, shape (shares, shares).
    """
    node, weight = np.polynomial.hermite_e.hermegauss(HERMITE_NODES)
    weight = weight / weight.sum()
    low, high = np.full(len(share), -LARGEST_LOGIT), np.full(len(share), LARGEST_LOGIT)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        above = expit(middle[:, None] + sd * node) @ weight > share
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    away = expit((low + high)[:, None] / 2 + sd * node) - share[:, None]
    orders = np.arange(1, HERMITE_ORDER + 1)
    polynomials = np.polynomial.hermite_e.hermevander(node, HERMITE_ORDER)[:, 1:] / np.sqrt(factorial(orders))
    return np.asarray((away * weight) @ polynomials), np.asarray((away * weight) @ away.T)


def _counts(buckets: pd.DataFrame, column: str) -> tuple[tuple[object, ...], FloatArray, FloatArray]:
    """Levels of a column, in order, with their usable and recorded heads."""
    counts = buckets.groupby(column, observed=True)[["usable", "recorded"]].sum()
    return tuple(counts.index), counts["usable"].to_numpy(float), counts["recorded"].to_numpy(float)


def _assumed(usable: FloatArray, recorded: FloatArray, alike: bool) -> FloatArray:
    """Shares by which covariances go: of each group, or, if they are alike, of all together."""
    if alike and 0 < usable.sum() < recorded.sum():
        return np.full(len(recorded), usable.sum() / recorded.sum())
    return _off_the_edge(usable, recorded)


def _off_the_edge(usable: FloatArray, recorded: FloatArray) -> FloatArray:
    """Shares that are neither none nor all, for what a share so near would vary by."""
    return np.asarray((usable + 0.5) / (recorded + 1))


def _score_limits(shares: FloatArray, heads: FloatArray, quantile: float) -> tuple[FloatArray, FloatArray]:
    """Limits of single shares by the score (Wilson 1927, J. Am. Stat. Assoc. 22, 209-212)."""
    middle = shares + quantile**2 / (2 * heads)
    half = quantile * np.sqrt(shares * (1 - shares) / heads + quantile**2 / (4 * heads**2))
    return (middle - half) / (1 + quantile**2 / heads), (middle + half) / (1 + quantile**2 / heads)

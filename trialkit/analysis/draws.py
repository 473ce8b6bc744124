"""Draws of what each candidate would give: mean weights or days, and the share of heads that come to the table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.mixed import MixedFit

FloatArray = NDArray[np.float64]

DRAWS = 20_000


@dataclass(frozen=True)
class MeanDraws:
    """Draws of candidates' means, each of shape (draws, candidates).

    Attributes
    ----------
    average : ndarray
        On average over gardens.
    garden : ndarray
        The same draws at a garden not yet seen.
    """

    average: FloatArray
    garden: FloatArray


def draw_means(fit: MixedFit, candidates: pd.DataFrame, df: float, seed: int) -> MeanDraws:
    """Draw candidates' means.

    Joint t approximation: the means' Kenward-Roger covariance, with the smallest d.f. of any difference from the
    current practice, so that the tails are not too light for any of them. At a new garden, each site-by-factor
    variance comes on top, drawn once per level so that candidates that share a level share its luck. Those variances
    are taken as estimated: with a handful of gardens their own uncertainty is not counted. A garden's own level is
    common to all candidates. Every draw has its mirror image, so that the draws' mean is the estimate itself.

    Parameters
    ----------
    fit : MixedFit
        With a joint ``treatment`` factor.
    candidates : pandas.DataFrame
        Their levels, one column a factor; index is the joint label.
    df : float
        Degrees of freedom of the joint t.
    seed : int
    """
    rng, half = np.random.Generator(np.random.PCG64(seed)), DRAWS // 2
    labels = list(candidates.index)
    means = fit.means("treatment")["mean"].loc[labels].to_numpy(float)
    covariance = fit.mean_covariance("treatment").loc[labels, labels].to_numpy(float)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    spread = np.sqrt(df / rng.chisquare(df, half))[:, None]
    errors = spread * (rng.standard_normal((half, len(means))) @ root.T)
    luck = np.zeros_like(errors)
    for column in candidates:
        variance = max(float(fit.variances.get(f"site:{column}", 0.0)), 0.0)
        codes = pd.factorize(candidates[column])[0]
        luck += np.sqrt(variance) * rng.standard_normal((half, int(codes.max()) + 1))[:, codes]
    average, garden = (means + np.concatenate([part, -part]) for part in (errors, errors + luck))
    return MeanDraws(average, garden)


def draw_shares(buckets: pd.DataFrame, labels: Sequence[str], seed: int) -> FloatArray:
    """Draw the share of heads that come to the table, shape (draws, candidates).

    Beta-binomial with the bucket as the cluster: heads count less by the pooled overdispersion between buckets
    (McCullagh & Nelder 1989, Generalized Linear Models, sec. 4.5), and candidates are drawn towards their common
    share as far as chance explains their differences (moment estimators: Kleinman 1973, J. Am. Stat. Assoc. 68,
    46-54; both from memory).

    Parameters
    ----------
    buckets : pandas.DataFrame
        One row a bucket: ``treatment``, heads ``recorded`` and, of these, ``usable``.
    labels : sequence of str
        Candidates; each has a recorded head.
    seed : int
    """
    rng = np.random.Generator(np.random.PCG64(seed))
    counts = buckets.groupby("treatment", observed=True)[["usable", "recorded"]].sum().loc[list(labels)]
    dispersion = overdispersion(buckets[buckets["treatment"].isin(labels)])
    x, n = (counts[name].to_numpy(float) / dispersion for name in ("usable", "recorded"))
    common = (x.sum() + 0.5) / (n.sum() + 1.0)
    between = (n * (x / n - common) ** 2).sum() - common * (1 - common) * (len(n) - 1)
    variance = max(between / max(n.sum() - (n**2).sum() / n.sum(), 1.0), 0.0)
    strength = min(common * (1 - common) / variance - 1, n.sum()) if variance > 0 else n.sum()
    strength = max(strength, 1.0)
    return np.asarray(rng.beta(x + strength * common, n - x + strength * (1 - common), (DRAWS, len(n))))


def overdispersion(buckets: pd.DataFrame) -> float:
    """Variance of buckets' usable shares in units of the binomial's, pooled over treatments; 1 at the least.

    Pearson's chi-square over its degrees of freedom.
    """
    grouped = buckets.groupby("treatment", observed=True)
    share = (grouped["usable"].transform("sum") / grouped["recorded"].transform("sum")).to_numpy(float)
    varied = (share > 0) & (share < 1) & (buckets["recorded"].to_numpy() > 0)
    df = int(varied.sum()) - buckets.loc[varied, "treatment"].nunique()
    if df < 1:
        return 1.0
    n, x, p = (part[varied] for part in (buckets["recorded"].to_numpy(float), buckets["usable"].to_numpy(float), share))
    return max(float(((x - n * p) ** 2 / (n * p * (1 - p))).sum() / df), 1.0)

"""Draws of what each candidate would give: mean yields or days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.analysis.censored import CensoredFit
from trialkit.mixed import MixedFit

FloatArray = NDArray[np.float64]

DRAWS = 20_000


def symmetric_root(covariance: FloatArray) -> FloatArray:
    """Square root of a covariance that may be singular.

    The symmetric one: unlike a triangle's or eigenvectors, it does not hang on rounding, so that the same draws come
    out however many threads or whichever library did the algebra.
    """
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)


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

    def divided(self, by: float) -> MeanDraws:
        """The same a head, such as of buckets by their heads."""
        return MeanDraws(self.average / by, self.garden / by)


def draw_means(
    fit: MixedFit | CensoredFit, candidates: pd.DataFrame, df: float, seed: int, among: Sequence[str] = ("site",)
) -> MeanDraws:
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
    among : sequence of str
        What a garden not yet seen brings with it that differs in the effects of factors.
    """
    rng, half = np.random.Generator(np.random.PCG64(seed)), DRAWS // 2
    labels = list(candidates.index)
    means = fit.means("treatment")["mean"].loc[labels].to_numpy(float)
    covariance = fit.mean_covariance("treatment").loc[labels, labels].to_numpy(float)
    root = symmetric_root(covariance)
    spread = np.sqrt(df / rng.chisquare(df, half))[:, None]
    errors = spread * (rng.standard_normal((half, len(means))) @ root.T)
    luck = np.zeros_like(errors)
    for column in candidates:
        variance = sum(max(float(fit.variances.get(f"{term}:{column}", 0.0)), 0.0) for term in among)
        codes = pd.factorize(candidates[column])[0]
        luck += np.sqrt(variance) * rng.standard_normal((half, int(codes.max()) + 1))[:, codes]
    average, garden = (means + np.concatenate([part, -part]) for part in (errors, errors + luck))
    return MeanDraws(average, garden)

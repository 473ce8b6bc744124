"""The largest of several correlated |t|: exact probabilities for Dunnett's comparisons.

``T_i = Z_i / S`` with Z normal of correlation R and ``df S^2`` chi-squared. Where ``R_ij = l_i l_j`` for i != j, as
in comparisons with one control, the Z_i are independent given one common normal and the probability is a
double integral (Dunnett 1955, J. Am. Stat. Assoc. 50, 1096-1121), done by Gauss-Legendre. Otherwise the inner part
is Genz's separation of variables (Genz & Bretz 2009, Computation of Multivariate Normal and t Probabilities, ch. 4)
on fixed scrambled Sobol points, as a difference from the nearest product form, done once for all d.f. and
interpolated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.polynomial import Chebyshev
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtri, gammaln, ndtr, ndtri, stdtr, stdtrit

FloatArray = NDArray[np.float64]

PRODUCT_TOLERANCE = 1e-7
NODES_SCALE, NODES_NORMAL = 96, 128
SOBOL_POWER = 15
LARGEST_NORMAL = 7.0  # one |Z| passes this with probability 3e-12
INTERPOLATION_DEGREE = 40
INFINITE_DF = 1e7


@dataclass(frozen=True)
class LargestT:
    """Distribution of the largest of several |T_i|.

    Attributes
    ----------
    size : int
        How many there are, k.
    normal : callable
        Probability that every |Z_i| stays at or below each of several limits, shape (n,) -> (n,).
    """

    size: int
    normal: Callable[[FloatArray], FloatArray]

    def probability(self, critical: float, df: float) -> float:
        """Probability that every |T_i| stays at or below a critical value.

        The absolute error is about 1e-9 for product-form correlations (all with k <= 2), below 1e-5 otherwise.
        """
        if critical <= 0:
            return 0.0
        if self.size == 1:
            return float(1 - 2 * stdtr(df, -critical))
        scales, weights = _scale_rule(df)
        return float(weights @ self.normal(critical * scales))

    def quantile(self, probability: float, df: float) -> float:
        """Critical value that every |T_i| stays below with the given probability."""
        low = float(stdtrit(df, (1 + probability) / 2))
        if self.size == 1:
            return low
        high = float(stdtrit(df, 1 - (1 - probability) / 2 / self.size))  # Bonferroni

        def gap(critical: float) -> float:
            return self.probability(critical, df) - probability

        # At perfect correlation the lower end is the answer; numerical error may then hide the change of sign.
        return low if gap(low) >= 0 else float(brentq(gap, low, high * 1.001, xtol=1e-10, rtol=1e-12))


def largest_t(correlation: FloatArray) -> LargestT:
    """Prepare the distribution for a correlation matrix, shape (k, k)."""
    if len(correlation) == 1:
        return LargestT(1, lambda limits: np.asarray(1 - 2 * ndtr(-limits)))
    loadings = product_loadings(correlation)
    if loadings is None:
        return LargestT(len(correlation), interpolated(correlation))
    return LargestT(len(correlation), partial(conditionally_independent, loadings=loadings))


def product_loadings(correlation: FloatArray) -> FloatArray | None:
    """Loadings l with ``R_ij = l_i l_j`` off the diagonal and |l_i| <= 1, or None where there are none."""
    k = len(correlation)
    if k == 2:
        r = float(correlation[0, 1])
        return np.array([np.sqrt(abs(r)), np.sign(r) * np.sqrt(abs(r))])
    off = correlation - np.diag(np.diagonal(correlation))
    pairs = [(i, j, m) for i in range(k) for j, m in [((i + 1) % k, (i + 2) % k)]]
    squares = [off[i, j] * off[i, m] / off[j, m] if off[j, m] else np.nan for i, j, m in pairs]
    if not np.all(np.isfinite(squares)) or min(squares) < 0 or max(squares) > 1:
        return None
    loadings = np.sqrt(squares) * np.where(off[0] < 0, -1.0, 1.0)
    fitted = np.outer(loadings, loadings)
    np.fill_diagonal(fitted, 0.0)
    return loadings if np.abs(fitted - off).max() < PRODUCT_TOLERANCE else None


def _scale_rule(df: float) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights for the distribution of S = sqrt(chi2_df / df)."""
    if df > INFINITE_DF:
        return np.ones(1), np.ones(1)
    low, high = (np.sqrt(chdtri(df, tail) / df) for tail in (1 - 1e-14, 1e-14))
    nodes, weights = _legendre(NODES_SCALE, float(low), float(high))
    log_density = np.log(2) + (df / 2) * np.log(df / 2) - gammaln(df / 2) + (df - 1) * np.log(nodes) - df * nodes**2 / 2
    return nodes, weights * np.exp(log_density)


def conditionally_independent(limits: FloatArray, loadings: FloatArray) -> FloatArray:
    """Probability that all |Z_i| <= limit, for each limit, given one common normal."""
    common, weights = _legendre(NODES_NORMAL, -9.0, 9.0)
    density = np.exp(-(common**2) / 2) / np.sqrt(2 * np.pi)
    spread = np.sqrt(np.maximum(1 - loadings**2, 1e-300))
    inside = np.ones((len(limits), len(common)))
    for loading, own in zip(loadings, spread, strict=True):
        upper = (limits[:, None] - loading * common) / own
        lower = (-limits[:, None] - loading * common) / own
        inside *= ndtr(upper) - ndtr(lower)
    return np.asarray(inside @ (weights * density))


def _legendre(count: int, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    nodes, weights = leggauss(count)
    return (high - low) / 2 * nodes + (high + low) / 2, (high - low) / 2 * weights


def interpolated(correlation: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """Probability that all |Z_i| <= limit for any correlation, by Chebyshev interpolation of a quasi-random rule.

    The rule is applied to the correlation and to its nearest product form, whose probability is known exactly: most of
    the error is common to both and cancels. The points are fixed, so the answer is the same every time.
    """
    from scipy.stats import qmc

    k = len(correlation)
    sampler = qmc.Sobol(k, scramble=True, rng=np.random.Generator(np.random.PCG64(20)))
    points: FloatArray = np.asarray(sampler.random_base2(SOBOL_POWER), np.float64)
    loadings = _nearest_loadings(correlation)
    near = np.outer(loadings, loadings)
    np.fill_diagonal(near, 1.0)
    nugget = 1e-12 * np.eye(k)
    lower, lower_near = (np.asarray(np.linalg.cholesky(r + nugget), np.float64) for r in (correlation, near))

    def at(limits: FloatArray) -> FloatArray:
        near_by = conditionally_independent(limits, loadings)
        open_ = (near_by > 1e-8) & (near_by < 1 - 1e-8)  # elsewhere the correlation makes no difference
        near_by[open_] += [_genz(float(x), lower, points) - _genz(float(x), lower_near, points) for x in limits[open_]]
        return near_by

    curve = Chebyshev.interpolate(at, INTERPOLATION_DEGREE, domain=[0.0, LARGEST_NORMAL])
    return lambda limits: np.asarray(np.clip(curve(np.clip(limits, 0.0, LARGEST_NORMAL)), 0.0, 1.0), np.float64)


def _nearest_loadings(correlation: FloatArray) -> FloatArray:
    """One common factor by iterated principal axes (Harman 1976, Modern Factor Analysis, ch. 8)."""
    communality = np.full(len(correlation), 0.5)
    for _ in range(100):
        reduced = correlation - np.diag(1 - communality)
        values, vectors = np.linalg.eigh(reduced)
        loadings = np.asarray(vectors[:, -1] * np.sqrt(max(values[-1], 0.0)), np.float64)
        communality = np.minimum(loadings**2, 0.99)
    return np.clip(loadings, -0.995, 0.995)


def _genz(limit: float, lower: FloatArray, points: FloatArray) -> float:
    """Average over points, shape (n, k), of the product of conditional probabilities, one normal at a time."""
    earlier = np.zeros((len(points), len(lower)))
    product = np.ones(len(points))
    for i, own in enumerate(np.diagonal(lower)):
        shift = earlier[:, :i] @ lower[i, :i]
        low, high = ndtr((-limit - shift) / own), ndtr((limit - shift) / own)
        product *= high - low
        if i + 1 < len(lower):
            uniform = low + points[:, i] * (high - low)
            earlier[:, i] = ndtri(np.clip(uniform, np.finfo(float).tiny, 1 - 1e-16))
    return float(product.mean())

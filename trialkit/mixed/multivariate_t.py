"""The largest of several correlated |t|: exact probabilities for Dunnett's comparisons.

``T_i = Z_i / S`` with Z normal of correlation R and ``df S^2`` chi-squared. Where ``R_ij = l_i l_j`` for i != j, as
in comparisons with one control, the Z_i are independent given one common normal and the probability is a
double integral (Dunnett 1955, J. Am. Stat. Assoc. 50, 1096-1121), done by Gauss-Legendre. Otherwise Genz's
separation of variables (Genz & Bretz 2009, Computation of Multivariate Normal and t Probabilities, ch. 4) on a
fixed lattice.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtri, gammaln, ndtr, ndtri, stdtr, stdtrit

FloatArray = NDArray[np.float64]

PRODUCT_TOLERANCE = 1e-7
NODES_SCALE, NODES_NORMAL = 96, 128
LATTICE_POINTS, LATTICE_SHIFTS = 16381, 12
INFINITE_DF = 1e7


def largest_t_probability(critical: float, correlation: FloatArray, df: float) -> float:
    """Probability that every |T_i| stays at or below a critical value.

    Parameters
    ----------
    critical : float
    correlation : ndarray, shape (k, k)
    df : float

    Returns
    -------
    float
        Absolute error about 1e-9 for product-form correlations (all with k <= 2), about 1e-6 otherwise.
    """
    if critical <= 0:
        return 0.0
    if len(correlation) == 1:
        return float(1 - 2 * stdtr(df, -critical))
    scales, weights = _scale_rule(df)
    loadings = product_loadings(correlation)
    if loadings is None:
        return _lattice(critical, correlation, df)
    return float(weights @ _conditionally_independent(critical * scales, loadings))


def largest_t_quantile(probability: float, correlation: FloatArray, df: float) -> float:
    """Critical value that every |T_i| stays below with the given probability."""
    if len(correlation) == 1:
        return float(stdtrit(df, (1 + probability) / 2))
    low = float(stdtrit(df, (1 + probability) / 2))
    high = float(stdtrit(df, 1 - (1 - probability) / 2 / len(correlation)))  # Bonferroni

    def gap(critical: float) -> float:
        return largest_t_probability(critical, correlation, df) - probability

    # At perfect correlation the lower end is the answer; numerical error may then hide the change of sign.
    return low if gap(low) >= 0 else float(brentq(gap, low, high * 1.001, xtol=1e-10, rtol=1e-12))


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


def _conditionally_independent(limits: FloatArray, loadings: FloatArray) -> FloatArray:
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


def _lattice(critical: float, correlation: FloatArray, df: float) -> float:
    """Genz's separation of variables on a Richtmyer lattice with fixed shifts: the same answer every time."""
    k = len(correlation)
    lower = np.linalg.cholesky(correlation + 1e-12 * np.eye(k))
    generator = np.sqrt(_first_primes(k))
    shifts = np.random.Generator(np.random.PCG64(20)).random((LATTICE_SHIFTS, k))
    steps = np.arange(1, LATTICE_POINTS + 1)[:, None] * generator
    tents = (np.abs(2 * ((steps + shift) % 1) - 1) for shift in shifts)
    return float(np.mean([_genz(critical, lower, df, np.asarray(tent, float)) for tent in tents]))


def _genz(critical: float, lower: FloatArray, df: float, points: NDArray[np.floating[Any]]) -> float:
    """Average over points, shape (n, k): the first coordinate draws S, the others one normal each."""
    eps = np.finfo(float).tiny
    limit = critical * np.sqrt(chdtri(df, np.clip(points[:, 0], 1e-15, 1 - 1e-15)) / df)
    earlier = np.zeros((len(points), len(lower)))
    product = np.ones(len(points))
    for i in range(len(lower)):
        shift = earlier[:, :i] @ lower[i, :i]
        low, high = ndtr((-limit - shift) / lower[i, i]), ndtr((limit - shift) / lower[i, i])
        product *= high - low
        if i + 1 < len(lower):
            uniform = points[:, i + 1]
            earlier[:, i] = ndtri(np.clip(low + uniform * (high - low), eps, 1 - 1e-16))
    return float(product.mean())


def _first_primes(count: int) -> FloatArray:
    primes: list[int] = []
    candidate = 2
    while len(primes) < count:
        if all(candidate % prime for prime in primes):
            primes.append(candidate)
        candidate += 1
    return np.array(primes, float)

"""The largest of several correlated |t|: exact probabilities for Dunnett's comparisons.

``T_i = Z_i / S`` with Z normal of correlation R and ``df S^2`` chi-squared. Where ``R_ij = l_i l_j`` for i != j, as
in comparisons with one control, the Z_i are independent given one common normal and the probability is a
double integral (Dunnett 1955, J. Am. Stat. Assoc. 50, 1096-1121), done by Gauss-Legendre. Otherwise the inner part
is done once for all d.f. and interpolated: near the product form by an expansion in the correlations that it leaves
(`_expanded`), far from it by Genz's separation of variables (Genz & Bretz 2009, Computation of Multivariate Normal and
t Probabilities, ch. 4) on a lattice rule. The studentized range of Tukey's comparisons is the largest |T| of all pairs,
and shares the outer part.

Critical values are found on the scale of their logarithm: with 0.2 degrees of freedom they pass a million, and with
0.004 the largest number that a computer holds; they are then infinite, and so are the limits made from them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from itertools import pairwise
from typing import Annotated

import numpy as np
from numpy.polynomial import Chebyshev
from numpy.polynomial.legendre import leggauss
from scipy.special import chdtri, gammainc, gammaln, ndtr, ndtri, stdtr, stdtrit

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.lattice import lattice_points
from trialkit.mixed.refusals import MixedModelError
from trialkit.mixed.root_finding import crossing

PRODUCT_TOLERANCE = 1e-7
NODES_SCALE, NODES_NORMAL = 96, 128
NEAR_PRODUCT = 0.25
"""Correlations left given the common normal, up to which the expansion is used."""
LEAST_EIGENVALUE = 0.1
"""Of the correlation given the common normal: none is that of a distribution where it is not above zero."""
NEGLIGIBLE = 1e-12
"""Weight of a value of the common normal beside the weightiest."""
LATTICE_SIZE, LATTICE_LIMITS = 32401, 13
TINY = np.finfo(float).tiny
LARGEST_NORMAL = 6.5  # one |Z| passes this with probability 8e-11
INTERPOLATION_DEGREE = 44
INFINITE_DF = 1e7
LOG_ROOT_PI = float(np.log(np.pi)) / 2
# Below this many d.f. the density of S piles up at zero, and the integral over S is done over log S.
FEW_DF = 3.0
# Where the largest |Z| reaches these limits: below the first never, above the second always.
NEVER, ALWAYS = 1e-9, 9.0


@dataclass(frozen=True)
class LargestT:
    """Distribution of the largest of several |T_i|."""

    size: Annotated[int, "How many there are, k."]
    normal: Annotated[
        Callable[[FloatArray], FloatArray],
        "Probability that every |Z_i| stays at or below each of several limits, shape (n,) -> (n,).",
    ]

    def probability(self, critical: float, df: float) -> float:
        """Probability that every |T_i| stays at or below a critical value.

        The absolute error is about 1e-9 for product-form correlations (all with k <= 2). Otherwise, against integrals
        over two and three common normals: near the product form, as comparisons with one control are, below 1e-5, and
        below 1e-6 where it leaves no correlation above 0.1; far from it below 5e-4.
        """
        if critical <= 0:
            return 0.0
        if self.size == 1:
            return float(1 - 2 * stdtr(df, -critical))
        return self._probability(float(np.log(critical)), df)

    def quantile(self, probability: float, df: float) -> float:
        """Critical value that every |T_i| stays below with the given probability; infinite where too large to hold."""
        low = log_t_quantile((1 - probability) / 2, df)
        if self.size == 1:
            return exponential(low)
        high = log_t_quantile((1 - probability) / 2 / self.size, df)  # Bonferroni

        return exponential(crossing(lambda log_critical: self._probability(log_critical, df) - probability, low, high))

    def _probability(self, log_critical: float, df: float) -> float:
        if df < FEW_DF:
            return 1.0 - self._tail_of_few(log_critical, df)
        scales, weights = _scale_rule(df)
        return float(weights @ self.normal(np.exp(log_critical) * scales))

    def _tail_of_few(self, log_critical: float, df: float) -> float:
        """Probability that some |T_i| passes the critical value: the integral over v = log(critical S)."""
        edges = (np.log(NEVER), -2.0, np.log(ALWAYS))
        panels = [_legendre(NODES_SCALE, low, high) for low, high in pairwise(edges)]
        v, weights = np.concatenate([p[0] for p in panels]), np.concatenate([p[1] for p in panels])
        passes = 1.0 - self.normal(np.exp(v))
        log_s = v - log_critical
        log_density = np.log(2) + (df / 2) * np.log(df / 2) - gammaln(df / 2) + df * log_s
        with np.errstate(over="ignore"):
            density = np.exp(log_density - (df / 2) * np.exp(2 * log_s))
        return float(weights @ (passes * density)) + _scale_below(edges[0] - log_critical, df)


def require_confidence(confidence: float, least: float = 0.0) -> None:
    """Refuse a confidence that is no probability."""
    if not least < confidence < 1:
        raise MixedModelError(
            f"The confidence is {confidence!r}: give a number above {least:g} and below 1, like 0.95."
        )


def log_t_quantile(tail: float, df: float) -> float:
    """Logarithm of the value of t with the given upper tail, below a half.

    Far out, ``P(T > t) = df^(df/2 - 1) Gamma((df + 1)/2) / (pi^(1/2) Gamma(df/2)) t^-df``, from the density's leading
    term. It is used past 1e8, where it is exact, and where the library's quantile loses its way below 0.008 d.f.
    """
    finite = min(df, INFINITE_DF)
    log_constant = gammaln((finite + 1) / 2) - gammaln(finite / 2) + (finite / 2 - 1) * np.log(finite) - LOG_ROOT_PI
    far = float((log_constant - np.log(tail)) / finite)
    return far if far > np.log(1e8) else float(np.log(stdtrit(df, 1 - tail)))


def t_quantile(confidence: float, df: FloatArray) -> FloatArray:
    """Two-sided critical values of t, shape (c,) -> (c,); infinite where too large to hold."""
    return np.array([exponential(log_t_quantile((1 - confidence) / 2, float(v))) for v in df])


def exponential(log_value: float) -> float:
    """Exponential of a number, infinite where that is too large to hold."""
    with np.errstate(over="ignore"):
        return float(np.exp(log_value))


def _scale_below(log_s: float, df: float) -> float:
    """Probability that S stays below a value, from its logarithm: also where its square is too small to hold."""
    if log_s > -300:
        return float(gammainc(df / 2, df / 2 * np.exp(2 * log_s)))
    return float(np.exp(df / 2 * np.log(df / 2) - gammaln(df / 2 + 1) + df * log_s))


@cache
def largest_of_pairs(levels: int) -> LargestT:
    """Prepare the distribution of the largest |t| among all pairs of equally precise, independent means.

    This is the studentized range over sqrt(2), on which Tukey's comparisons rest (Tukey 1953; Kramer 1956,
    Biometrics 12, 307-310).
    """
    return LargestT(levels * (levels - 1) // 2, partial(_range_over_root_two, levels=levels))


def _range_over_root_two(limits: FloatArray, levels: int) -> FloatArray:
    """Probability that the range of independent normals stays at or below sqrt(2) limits, given the largest."""
    largest, weights = _legendre(NODES_NORMAL, -ALWAYS, ALWAYS)
    density = np.exp(-(largest**2) / 2) / np.sqrt(2 * np.pi)
    inside = (ndtr(largest) - ndtr(largest - np.sqrt(2) * limits[:, None])) ** (levels - 1)
    return np.asarray(levels * (inside @ (weights * density)))


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


@cache
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
    nodes, weights = _unit_rule(count)
    return (high - low) / 2 * nodes + (high + low) / 2, (high - low) / 2 * weights


@cache
def _unit_rule(count: int) -> tuple[FloatArray, FloatArray]:
    return leggauss(count)


def interpolated(correlation: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """Probability that all |Z_i| <= limit for any correlation, by Chebyshev interpolation over limits."""
    loadings = _nearest_loadings(correlation)
    own = np.sqrt(1 - loadings**2)
    left = (correlation - np.outer(loadings, loadings)) / np.outer(own, own)
    np.fill_diagonal(left, 0.0)
    if np.abs(left).max() > NEAR_PRODUCT or np.linalg.eigvalsh(left)[0] < LEAST_EIGENVALUE - 1:
        return _by_lattice(correlation, loadings)
    return _over_limits(partial(_expanded, loadings=loadings, left=left))


def _over_limits(normal: Callable[[FloatArray], FloatArray]) -> Callable[[FloatArray], FloatArray]:
    """Interpolate a probability that costs much, from some limits to all."""
    fitted = Chebyshev.interpolate(normal, INTERPOLATION_DEGREE, domain=[0.0, LARGEST_NORMAL])
    return lambda limits: np.asarray(np.clip(fitted(np.clip(limits, 0.0, LARGEST_NORMAL)), 0.0, 1.0), np.float64)


def _arcsine(probability: FloatArray) -> FloatArray:
    return np.asarray(np.arcsin(np.sqrt(np.clip(probability, 0.0, 1.0))) * 2 / np.pi)


def _nearest_loadings(correlation: FloatArray) -> FloatArray:
    """One common factor by iterated principal axes (Harman 1976, Modern Factor Analysis, ch. 8)."""
    communality = np.full(len(correlation), 0.5)
    for _ in range(100):
        reduced = correlation - np.diag(1 - communality)
        values, vectors = np.linalg.eigh(reduced)
        loadings = np.asarray(vectors[:, -1] * np.sqrt(max(values[-1], 0.0)), np.float64)
        communality = np.minimum(loadings**2, 0.99)
    return np.clip(loadings, -0.995, 0.995)


def _expanded(limits: FloatArray, loadings: FloatArray, left: FloatArray) -> FloatArray:
    """Probability that all |Z_i| <= limit, from the correlations E that are left given the common normal, shape (k, k).

    Given that, shifts x of independent normals with the covariance E make the correlation. The logarithm of the
    probability f_i(x_i) that one stays inside is expanded to its fourth derivative. With those to the second, K on the
    diagonal, the average over shifts is in closed form: they then are normal, ``C = (I - E K)^-1 E`` about ``C f'``.
    Third and fourth derivatives come in by their averages over these, and by those of products of two of the same
    order (Shun & McCullagh 1995, J. R. Stat. Soc. B 57, 749-760; from memory): what else there is has five correlations
    or more as factors, or the small ``C f'``.
    """
    common, weights = _legendre(NODES_NORMAL // 2, 0.0, 9.0)  # the other half are mirror images
    weights = 2 * weights * np.exp(-(common**2) / 2) / np.sqrt(2 * np.pi)
    signs, own = np.where(loadings < 0, -1.0, 1.0), np.sqrt(1 - loadings**2)  # |Z| is the same with its sign changed
    left, shift = left * np.outer(signs, signs), common[:, None] * np.abs(loadings)
    upper, lower = ((edge - shift) / own for edge in (limits[:, None, None], -limits[:, None, None]))
    inside = ndtr(upper) - ndtr(lower)
    product = weights * inside.prod(-1)
    # Where nothing is likely to pass the limit, shifts change nothing either.
    counts = (product > NEGLIGIBLE * product.max(-1, keepdims=True)) & (inside.min(-1) < 1 - 1e-8)
    upper, lower, inside = upper[counts], lower[counts], inside[counts]

    def ratio(polynomial: Callable[[FloatArray], FloatArray | float]) -> FloatArray:
        """Give a derivative of the probability beside the probability, from its Hermite polynomial."""
        low, high = (polynomial(x) * np.exp(-(x**2) / 2) for x in (lower, upper))
        return np.asarray((low - high) / inside / np.sqrt(2 * np.pi))

    r1, r2, r3, r4 = (ratio(h) for h in (lambda _: 1.0, lambda x: x, lambda x: x**2 - 1, lambda x: x**3 - 3 * x))
    # Derivatives of the logarithm, as cumulants come from moments.
    second, third = r2 - r1**2, r3 - 3 * r2 * r1 + 2 * r1**3
    fourth = r4 - 4 * r3 * r1 - 3 * r2**2 + 12 * r2 * r1**2 - 6 * r1**4
    apart = np.eye(len(left)) - left * second[:, None, :]
    covariance = np.linalg.solve(apart, np.broadcast_to(left, apart.shape))
    middle, variance = (covariance @ r1[..., None])[..., 0], np.diagonal(covariance, axis1=1, axis2=2)
    log_more = (r1 * middle).sum(-1) / 2 - np.linalg.slogdet(apart)[1] / 2
    log_more += (third * (middle**3 + 3 * middle * variance)).sum(-1) / 6
    log_more += (fourth * (middle**4 + 6 * middle**2 * variance + 3 * variance**2)).sum(-1) / 24
    square = covariance * covariance
    log_more += (((square * covariance) @ third[..., None])[..., 0] * third).sum(-1) / 12
    log_more += (((square * square) @ fourth[..., None])[..., 0] * fourth).sum(-1) / 48
    product[counts] *= np.exp(log_more)
    return np.asarray(product.sum(-1))


def _by_lattice(correlation: FloatArray, loadings: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """Probability that all |Z_i| <= limit, by a lattice rule, as a difference from the nearest product form.

    The rule is applied to both: most of the error is common to them and cancels. What is left is a smooth function of
    arcsin sqrt p, with p the probability of the product form, on which scale few limits are enough. The points are
    fixed, so the answer is the same every time.
    """
    from concurrent.futures import ThreadPoolExecutor

    near = np.outer(loadings, loadings)
    np.fill_diagonal(near, 1.0)
    points = lattice_points(LATTICE_SIZE, len(loadings)).copy()
    points[0] /= 2  # all normals with their signs changed stay inside as well: half the cube tells all
    nugget = 1e-12 * np.eye(len(loadings))
    lower, lower_near = (np.asarray(np.linalg.cholesky(r + nugget), np.float64) for r in (correlation, near))

    def difference(limit: float) -> float:
        return _genz(limit, lower, points) - _genz(limit, lower_near, points)

    near_by = _over_limits(partial(conditionally_independent, loadings=loadings))
    fine = np.linspace(0.0, LARGEST_NORMAL, 1001)
    wanted = (1 + np.cos(np.pi * (np.arange(LATTICE_LIMITS) + 0.5) / LATTICE_LIMITS)) / 2
    limits = np.interp(wanted, np.maximum.accumulate(_arcsine(near_by(fine))), fine)
    with ThreadPoolExecutor() as pool:
        differences = np.array(list(pool.map(difference, map(float, limits))))
    share = _arcsine(near_by(limits))
    more = Chebyshev.fit(share, differences / (share * (1 - share)), LATTICE_LIMITS - 1, domain=[0.0, 1.0])

    def at(limits: FloatArray) -> FloatArray:
        product = near_by(limits)
        share = _arcsine(product)
        return np.asarray(np.clip(product + share * (1 - share) * more(share), 0.0, 1.0), np.float64)

    return at


def _genz(limit: float, lower: FloatArray, points: FloatArray) -> float:
    """Average over points, shape (k, n), of the product of conditional probabilities, one normal at a time."""
    k, n = points.shape
    earlier, first = np.empty((k - 1, n)), -limit / lower[0, 0]
    low, width = ndtr(first), ndtr(-first) - ndtr(first)  # of the first normal, at every point
    ndtri(np.clip(points[0] * width + low, TINY, 1 - 1e-16), out=earlier[0])
    product = np.full(n, width)
    for i, own in enumerate(np.diagonal(lower)[1:], 1):
        shift = (lower[i, :i] / own) @ earlier[:i]
        low = ndtr(-limit / own - shift)
        width = ndtr(limit / own - shift) - low
        product *= width
        if i + 1 < k:
            width *= points[i]
            width += low
            ndtri(np.clip(width, TINY, 1 - 1e-16, out=width), out=earlier[i])
    return float(product.mean())

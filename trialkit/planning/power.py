"""Power of F and t tests from numbers alone: non-centrality, degrees of freedom, level.

The non-central F is scipy's (the Boost library's series; Patnaik 1949, Biometrika 36, 202-232, defines it). A
two-sided t test is the F test with one numerator degree of freedom, the far tail counted.
"""

from __future__ import annotations

import math
from functools import cached_property, lru_cache, partial

import numpy as np
from numpy.polynomial import Chebyshev
from numpy.polynomial.legendre import leggauss
from scipy.special import fdtri, gammaincinv, ncfdtr, ndtr, stdtrit

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.lattice import lattice_points
from trialkit.mixed.multivariate_t import LargestT
from trialkit.mixed.root_finding import crossing

LARGEST_NONCENTRALITY = 1e5
POINTS = 2017
# Degrees of freedom at which a simultaneous critical value is worked out, for interpolation in 1 / df.
NODES = 12
# Below this a critical value may be too large to hold.
LEAST_DF = 0.25


def f_power(noncentrality: float, numerator_df: float, denominator_df: float, level: float = 0.05) -> float:
    """Power of an F test.

    The non-centrality is the sum of squares of the true effects in units of the variance that the test divides by.

    Examples
    --------
    Four treatments in six blocks (lambda 4.5).

    >>> round(f_power(4.5, 3, 15), 4)
    0.3162
    """
    if noncentrality <= 0:
        return level
    critical = _critical_f(numerator_df, denominator_df, level)
    return float(1 - ncfdtr(numerator_df, denominator_df, noncentrality, critical))


@lru_cache(maxsize=1024)
def _critical_f(numerator_df: float, denominator_df: float, level: float) -> float:
    return float(fdtri(numerator_df, denominator_df, 1 - level))


@lru_cache(maxsize=1024)
def detectable_noncentrality(
    numerator_df: float, denominator_df: float, level: float = 0.05, power: float = 0.8
) -> float:
    """Non-centrality at which an F test has the given power; infinite where none that is tried (to 1e5) has it."""

    def gap(root: float) -> float:
        return f_power(root**2, numerator_df, denominator_df, level) - power

    largest = math.sqrt(LARGEST_NONCENTRALITY)
    high = 1.0
    while high < largest and gap(high) < 0:  # from below: the series is slow far out
        high *= 2
    return crossing(gap, 0.0, high) ** 2 if gap(high) >= 0 else math.inf


def detectable_difference(variance: float, df: float, level: float = 0.05, power: float = 0.8) -> float:
    """Smallest true difference, its estimate having a variance, that a two-sided t test finds with a given power."""
    return math.sqrt(variance * detectable_noncentrality(1, df, level, power))


def finite(difference_g: float) -> float | None:
    """A difference that can be found; None where none of any size is."""
    return difference_g if math.isfinite(difference_g) else None


def mean_root(df: float) -> float:
    """Expected root of a mean square over its expectation, ``E sqrt(chi2 / df)``: how short an interval comes out."""
    return math.sqrt(2 / df) * math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2))


def simultaneous_critical(df: FloatArray, comparisons: int, correlation: float, level: float) -> FloatArray:
    """Critical values of Dunnett's comparisons at several degrees of freedom, shape (n,) -> (n,).

    Multivariate t with one correlation for every pair (Dunnett 1955, J. Am. Stat. Assoc. 50, 1096-1121), between a few
    degrees of freedom interpolated in 1 / df.

    The correlation is 0.5 with equal numbers of buckets and one error variance.
    """
    rounded, df = round(correlation, 4), np.maximum(df, LEAST_DF)
    if np.ptp(df) < 1e-9 * df.max():
        return np.full(len(df), _largest_quantile(comparisons, rounded, level, float(df[0])))
    curve = _critical_curve(comparisons, rounded, level, float(2.0 ** np.floor(np.log2(df.min()))))
    return np.asarray(np.exp(curve(1 / df)))


@lru_cache(maxsize=256)
def _critical_curve(comparisons: int, correlation: float, level: float, least_df: float) -> Chebyshev:
    """Logarithm of the critical value as a polynomial in 1 / df, from some degrees of freedom to infinitely many."""

    def at(reciprocals: FloatArray) -> FloatArray:
        each = [_largest_quantile(comparisons, correlation, level, 1 / float(x)) for x in reciprocals]
        return np.log(each)

    return Chebyshev.interpolate(at, NODES - 1, domain=[0.0, 1 / least_df])


@lru_cache(maxsize=4096)
def _largest_quantile(comparisons: int, correlation: float, level: float, df: float) -> float:
    if comparisons == 1:
        return float(stdtrit(df, 1 - level / 2))
    return LargestT(comparisons, partial(_all_within, comparisons, correlation)).quantile(1 - level, df)


def _all_within(comparisons: int, correlation: float, limits: FloatArray) -> FloatArray:
    """Probability that all of several equally correlated |Z| stay within each limit, given their common part."""
    nodes, weights = _normal_rule()
    own, shift = math.sqrt(1 - correlation), math.sqrt(correlation) * nodes
    inside = ndtr((limits[:, None] - shift) / own) - ndtr((-limits[:, None] - shift) / own)
    return np.asarray(inside**comparisons @ weights)


@lru_cache(maxsize=1)
def _normal_rule() -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes over a standard normal, and weights with its density."""
    nodes, weights = leggauss(128)
    return 9.0 * nodes, 9.0 * weights * np.exp(-(81.0 * nodes**2) / 2) / math.sqrt(2 * math.pi)


class EstimatedDifference:
    """A difference whose variance adds up parts, each estimated by a mean square of its own.

    Treatments of several factors differ by parts from several strata. Given the mean squares the power is normal; it is
    averaged over their distribution (scaled chi-squared, independent) by a fixed lattice rule. The
    t test has Satterthwaite's degrees of freedom (1946, Biometrics Bull. 2, 110-114), as in the analysis.

    Parameters
    ----------
    parts : ndarray, shape (s,)
        Each stratum's part of the true variance of the difference.
    df : ndarray, shape (s,)
        Degrees of freedom of the strata.
    level : float
    """

    def __init__(self, parts: FloatArray, df: FloatArray, level: float) -> None:
        used = parts > 1e-12 * parts.sum()
        self.variance, self.level = float(parts.sum()), level
        self.parts, self._df = parts[used], df[used]

    @property
    def single(self) -> bool:
        """Whether one mean square estimates it, so that power is an exact non-central t."""
        return len(self.parts) == 1

    @property
    def df(self) -> float:
        """Satterthwaite's degrees of freedom at the true variance."""
        return float(self.parts.sum() ** 2 / (self.parts**2 / self._df).sum())

    def power(self, difference: float) -> float:
        """Power of the two-sided test for a true difference."""
        if self.single:
            return f_power(difference**2 / self.variance, 1, self.df, self.level)
        shift = difference / math.sqrt(self.variance)
        return float((ndtr(shift - self._reach) + ndtr(-shift - self._reach)).mean())

    @cached_property
    def _reach(self) -> FloatArray:
        """What the test takes for more than chance at the points of the rule, in true standard errors."""
        estimated, df = self._drawn()
        return simultaneous_critical(df, 1, 0.0, self.level) * np.sqrt(estimated / self.variance)

    def detectable(self, power: float) -> float:
        """Smallest true difference found with the given power."""
        if self.single:
            return detectable_difference(self.variance, self.df, self.level, power)
        high = math.sqrt(self.variance)
        while self.power(high) < power:
            high *= 2
            if high > math.sqrt(self.variance * LARGEST_NONCENTRALITY):
                return math.inf
        return crossing(lambda d: self.power(d) - power, 0.0, high)

    def half_width(self, comparisons: int = 1, correlation: float = 0.5) -> float:
        """Expected half-width of the interval, one of `comparisons` that hold together (Dunnett)."""
        if self.single:
            critical = simultaneous_critical(np.array([self.df]), comparisons, correlation, self.level)[0]
            return float(critical * math.sqrt(self.variance) * mean_root(self.df))
        estimated, df = self._drawn()
        return float((simultaneous_critical(df, comparisons, correlation, self.level) * np.sqrt(estimated)).mean())

    def _drawn(self) -> tuple[FloatArray, FloatArray]:
        """Estimated variance and its degrees of freedom at the points of the rule."""
        ratios = _mean_square_ratios(tuple(float(v) for v in self._df))
        estimated = ratios * self.parts
        return estimated.sum(1), estimated.sum(1) ** 2 / (estimated**2 / self._df).sum(1)


def _mean_square_ratios(df: tuple[float, ...]) -> FloatArray:
    """Mean squares over their expectations at the points of a fixed rule, shape (points, s)."""
    return np.column_stack([_mean_square_ratio(one, place, len(df)) for place, one in enumerate(df)])


@lru_cache(maxsize=1024)
def _mean_square_ratio(df: float, place: int, strata: int) -> FloatArray:
    return np.asarray(2 * gammaincinv(df / 2, lattice_points(POINTS, strata)[place]) / df)

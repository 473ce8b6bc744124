"""Critical values with hardly any degrees of freedom, where those of t pass a million and then any number held."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.special import betainc, gammaln, ndtr, stdtrit

from trialkit.mixed import MixedModelError, fit_mixed
from trialkit.mixed.comparisons import comparison_table
from trialkit.mixed.multivariate_t import largest_of_pairs, largest_t, log_t_quantile, t_quantile
from trialkit.mixed.small_sample import SmallSample

FEW = [0.3, 0.2, 0.1, 0.05, 0.02]


@pytest.mark.parametrize("df", FEW)
def test_t_quantile_leaves_its_tail(df: float) -> None:
    """The tail beyond the critical value of t is 2.5 %, by the incomplete beta function."""
    log_critical = log_t_quantile(0.025, df)
    assert betainc(df / 2, 0.5, df * np.exp(-2 * log_critical)) / 2 == pytest.approx(0.025, rel=1e-6)


@pytest.mark.parametrize("df", [0.5, 1.0, 3.0, 30.0, np.inf])
def test_ordinary_t_quantiles_are_the_librarys(df: float) -> None:
    """Where the library's quantile of t is sound, it is used."""
    assert t_quantile(0.95, np.array([df])) == pytest.approx(stdtrit(df, 0.975), rel=1e-14)


def log_far_quantile(moment: float, df: float) -> float:
    """Log critical value from ``P(M / S > c) = E M^df (df/2)^(df/2) / Gamma(df/2 + 1) c^-df``, exact far out."""
    constant = np.log(moment) + df / 2 * np.log(df / 2) - gammaln(df / 2 + 1)
    return float((constant - np.log(0.05)) / df)


def moment(beyond: Callable[[float], float], df: float) -> float:
    """E M^df from the probability that M is beyond a limit: adaptive quadrature over u = log of the limit."""
    middle = quad(lambda u: df * np.exp(df * u) * beyond(np.exp(u)), -25, np.log(12), epsabs=1e-10, limit=400)[0]
    return float(middle + np.exp(-25 * df))


def normal_density(z: float) -> float:
    """Density of the standard normal."""
    return float(np.exp(-z * z / 2) / np.sqrt(2 * np.pi))


@pytest.mark.parametrize("df", FEW)
def test_tukeys_critical_value(df: float) -> None:
    """Tukey's critical value for three means agrees with an independent integral that is exact far out."""

    def beyond(limit: float) -> float:
        def largest_at(z: float) -> float:
            return normal_density(z) * (ndtr(z) - ndtr(z - np.sqrt(2) * limit)) ** 2

        return 1 - 3 * quad(largest_at, -10, 10, epsabs=1e-12)[0]

    ours = largest_of_pairs(3).quantile(0.95, df)
    # What the far form leaves out is of the order of the inverse square of the value.
    assert np.log(ours) == pytest.approx(log_far_quantile(moment(beyond, df), df), rel=1e-7)


@pytest.mark.parametrize("df", FEW)
def test_dunnetts_critical_value(df: float) -> None:
    """Dunnett's critical value for two comparisons agrees with an independent integral that is exact far out."""

    def beyond(limit: float) -> float:
        def control_at(z: float) -> float:
            half = np.sqrt(0.5)
            inside = ndtr((limit - half * z) / half) - ndtr((-limit - half * z) / half)
            return normal_density(z) * float(inside**2)

        return 1 - quad(control_at, -10, 10, epsabs=1e-12)[0]

    ours = largest_t(np.array([[1.0, 0.5], [0.5, 1.0]])).quantile(0.95, df)
    assert np.log(ours) == pytest.approx(log_far_quantile(moment(beyond, df), df), rel=1e-7)


@pytest.mark.parametrize("df", [*FEW, 1.0, 2.9, 3.1])
def test_probability_undoes_quantile(df: float) -> None:
    """The probability below a critical value is the confidence asked for, on both sides of the change of rule."""
    for largest in (largest_of_pairs(5), largest_t(np.full((4, 4), 0.3) + 0.7 * np.eye(4))):
        assert largest.probability(largest.quantile(0.95, df), df) == pytest.approx(0.95, abs=1e-10)


# Three squares of two rows by two columns of buckets, a treatment to each square; weights in grams, invented. With
# variances left free, the treatments' differences have 0.26, 0.098 and 0.0015 degrees of freedom.
WEIGHTS = {
    0.258: [92, 103, 100, 98, 98, 102, 104, 98, 98, 87, 103, 112],
    0.0985: [96, 101, 92, 103, 106, 98, 102, 101, 98, 96, 90, 107],
    0.00145: [99, 92, 93, 104, 97, 97, 104, 92, 101, 97, 109, 102],
}
ADJUSTED = [("all-pairs", "tukey"), ("all-pairs", "holm"), ("all-pairs", "sidak"), ("versus", "dunnett")]


@pytest.mark.parametrize(("family", "adjust"), ADJUSTED)
@pytest.mark.parametrize("df", WEIGHTS)
def test_a_trial_with_hardly_any_degrees_of_freedom(df: float, family: Any, adjust: Any) -> None:
    """Comparisons are answered with honest limits: very wide, in the end infinite, no narrower if adjusted."""
    rows = [(t, f"{t}{r}", f"{t}{c}") for t in "abc" for r in range(2) for c in range(2)]
    data = pd.DataFrame(rows, columns=["treatment", "row", "column"]).assign(weight_g=WEIGHTS[df])
    fit = fit_mixed(data, "weight_g ~ treatment", ["row", "column"], bounds="strata")
    reference = "a" if family == "versus" else None
    table = fit.compare("treatment", family, reference, adjust)
    plain = fit.compare("treatment", family, reference, "none")
    assert list(table["df"]) == pytest.approx([df] * len(table), rel=5e-3)
    assert table["p"].between(0, 1).all()
    assert (table["p"] >= plain["p"] - 1e-12).all()
    assert (table["upper"] >= plain["upper"]).all()
    assert np.isinf(table["upper"]).all() == (df < 0.002)
    assert (table["upper"] > 1e3).all()


@pytest.mark.parametrize("adjust", ["tukey", "dunnett", "holm", "sidak", "none"])
def test_a_variance_that_is_not_positive_is_refused(adjust: Any) -> None:
    """Where Kenward and Roger's variance of a comparison is not positive, every adjustment gives one clear refusal."""
    small = SmallSample(
        coefficients=np.zeros((1, 2)), offset=np.zeros(1), constant=np.zeros(2), phi=np.eye(2)[None],
        adjusted=np.diag([1.0, -0.5])[None], phi_p_phi=-np.eye(2)[None, None], w=np.ones((1, 1, 1)),
    )  # fmt: skip
    with pytest.raises(MixedModelError, match="not positive"):
        comparison_table(pd.Index(["x", "y"]), np.eye(2), small, adjust, 3, 0.95)

"""Tests of assumptions and the straight line, against scipy and pingouin."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pingouin as pg
import pytest
from scipy import stats

from trialkit.stats.assumptions import levene_p, shapiro_wilk_p
from trialkit.stats.shares import compare_shares, difference_with_limits, share_with_limits
from trialkit.stats.straight_line import straight_line


@pytest.mark.parametrize("n", [3, 4, 5, 6, 7, 11, 12, 20, 192])
def test_shapiro_wilk_is_scipys(n: int) -> None:
    """Of normal and of lopsided values; scipy's normal quantiles are good to seven digits."""
    rng = np.random.default_rng(n)
    for values in (rng.standard_normal(n), rng.exponential(size=n), rng.standard_t(2, n)):
        assert shapiro_wilk_p(values) == pytest.approx(stats.shapiro(values).pvalue, rel=1e-5, abs=1e-12)


def test_levene_is_scipys_and_pingouins() -> None:
    """Uneven groups of unlike spread; missing where no group has two values, or one has none."""
    rng = np.random.default_rng(1)
    groups = [rng.normal(0, spread, n) for n, spread in ((5, 1.0), (8, 2.0), (3, 4.0))]
    assert levene_p(groups) == pytest.approx(stats.levene(*groups, center="median").pvalue, rel=1e-12)
    long = pd.DataFrame([(i, value) for i, group in enumerate(groups) for value in group], columns=["site", "y"])
    assert levene_p(groups) == pytest.approx(pg.homoscedasticity(long, "y", "site")["pval"].iloc[0], rel=1e-10)
    assert np.isnan(levene_p([np.array([1.0]), np.array([2.0])]))
    assert np.isnan(levene_p([np.array([1.0, 2.0]), np.array([])]))


def test_a_line_is_scipys() -> None:
    """Slope, standard error and p value."""
    x, y = np.array([35.0, 90, 160, 240, 241]), np.array([51.0, 40, 47, 30, 36])
    found, known = straight_line(x, y), stats.linregress(x, y)
    assert (found.slope, found.se, found.p) == pytest.approx((known.slope, known.stderr, known.pvalue), rel=1e-10)
    assert straight_line(np.arange(4.0), 2 * np.arange(4.0)).p == pytest.approx(0.0, abs=1e-12)


def test_shares_are_those_of_the_libraries() -> None:
    """Limits as statsmodels gives them and the test as scipy does, counts that are no whole numbers included."""
    from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

    one = share_with_limits(91, 96, 1.7, 0.9)
    both = difference_with_limits((91, 96), (80, 92), 1.7, 0.9)
    assert one is not None
    assert both is not None
    of_one = proportion_confint(91 / 1.7, 96 / 1.7, alpha=0.1, method="beta")
    of_both = confint_proportions_2indep(91 / 1.7, 96 / 1.7, 80 / 1.7, 92 / 1.7, method="newcomb", alpha=0.1)
    assert (one.lower, one.upper) == pytest.approx(of_one, rel=1e-10)
    assert (both.lower, both.upper) == pytest.approx(of_both, rel=1e-10)
    usable, recorded = np.array([80.0, 70.0, 88.0]), np.array([96.0, 96.0, 95.0])
    found = compare_shares(usable, recorded, 1.3)
    known = stats.chi2_contingency(np.array([usable, recorded - usable]) / 1.3, correction=False)
    assert (found.chi_square, found.df, found.p) == pytest.approx((known.statistic, known.dof, known.pvalue), rel=1e-10)

"""Tests of assumptions, against scipy and pingouin."""

import numpy as np
import pandas as pd
import pingouin as pg
import pytest
from scipy import stats

from trialkit.stats.assumptions import levene_p, shapiro_wilk_p


@pytest.mark.parametrize("n", [6, 7, 11, 12, 20, 192])
def test_shapiro_wilk_is_scipys(n: int) -> None:
    """Of normal and of lopsided values; scipy's normal quantiles are good to seven digits."""
    rng = np.random.default_rng(n)
    for values in (rng.standard_normal(n), rng.exponential(size=n), rng.standard_t(2, n)):
        assert shapiro_wilk_p(values) == pytest.approx(stats.shapiro(values).pvalue, rel=1e-5, abs=1e-12)


def test_levene_is_scipys_and_pingouins() -> None:
    """Uneven groups of unlike spread; missing where no group has two values."""
    rng = np.random.default_rng(1)
    groups = [rng.normal(0, spread, n) for n, spread in ((5, 1.0), (8, 2.0), (3, 4.0))]
    assert levene_p(groups) == pytest.approx(stats.levene(*groups, center="median").pvalue, rel=1e-12)
    long = pd.DataFrame([(i, value) for i, group in enumerate(groups) for value in group], columns=["site", "y"])
    assert levene_p(groups) == pytest.approx(pg.homoscedasticity(long, "y", "site")["pval"].iloc[0], rel=1e-10)
    assert np.isnan(levene_p([np.array([1.0]), np.array([2.0])]))

"""Gardens: what a new one would give, what holds at each, and what the gain goes with."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.stats import binom, t

from trialkit.analysis.gardens import compare_gardens, new_garden_limits
from trialkit.domain.treatment import Treatment
from trialkit.mixed import fit_mixed

FENLEAF = Treatment("Fenleaf")


def trial(gains: list[float]) -> pd.DataFrame:
    """Two blocks a garden of two treatments; the first gains so much at each garden, exactly."""
    rows = [
        (f"s{i}", block, label, f"b{i}{block}{label}", 100.0 + 7 * i + block + (gain if label == "t1" else 0.0))
        for i, gain in enumerate(gains)
        for block in (1, 2)
        for label in ("t0", "t1")
    ]
    return pd.DataFrame(rows, columns=["site", "block", "treatment", "bucket", "y"])


def gardens(gains: list[float], **known: list[float]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rows and the table of gardens."""
    rows = trial(gains)
    return rows, pd.DataFrame({"site": sorted(rows["site"].unique()), **known})


def test_gains_of_every_garden() -> None:
    """What two blocks of a garden gain, exactly; two gardens are too few to explore."""
    for gains in ([5.0, 9.0], [5.0, -3.0]):
        rows, sites = gardens(gains)
        found = compare_gardens(rows, "y", ("t1", "t0"), FENLEAF, sites, 0.95)
        assert [one.difference for one in found.differences] == pytest.approx(gains)
        assert found.explored == ()


def test_the_exploration_is_a_straight_line() -> None:
    """Slope and limits are those of ordinary least squares by statsmodels, in steps of 100 mg/L."""
    gains, alkalinity = [4.0, 9.0, 6.0, 14.0, 12.0], [40.0, 90.0, 160.0, 240.0, 310.0]
    rows, sites = gardens(gains, alkalinity_mg_l_caco3=alkalinity, sun_hours=[6.0] * 5)
    found = compare_gardens(rows, "y", ("t1", "t0"), FENLEAF, sites, 0.95)
    (line,) = found.explored  # sun is the same everywhere, so nothing can be seen of it
    fitted = sm.OLS(gains, sm.add_constant(np.array(alkalinity) / 100)).fit()
    assert line.slope.estimate == pytest.approx(fitted.params[1])
    assert [line.slope.lower, line.slope.upper] == pytest.approx(list(fitted.conf_int()[1]))
    assert line.p == pytest.approx(fitted.pvalues[1])


def test_gains_that_are_all_the_same_go_with_nothing() -> None:
    """Heads that all weigh the same leave no line to draw."""
    rows, sites = gardens([0.0] * 4, alkalinity_mg_l_caco3=[40.0, 90.0, 160.0, 240.0])
    assert compare_gardens(rows.assign(y=150.0), "y", ("t1", "t0"), FENLEAF, sites, 0.95).explored == ()


def test_a_new_garden_by_hand() -> None:
    """The mean's variance, the gardens' and the cultivars' between gardens add up; t has gardens less one d.f."""
    rng = np.random.default_rng(4)
    rows = trial([3.0, 8.0, 5.0, 1.0, 9.0, 4.0])
    rows["cultivar"] = rows["treatment"]
    rows["y"] += rng.normal(0, 2, len(rows)) + 6 * rng.standard_normal(6)[rows["site"].str[1:].astype(int)]
    fit = fit_mixed(rows, "y ~ treatment", ["site", "site:cultivar"])
    found = new_garden_limits(fit, ["cultivar"], 6, 0.95)["t1"]
    row = fit.means("treatment").loc["t1"]
    variance = row["se"] ** 2 + fit.variances["site"] + fit.variances["site:cultivar"]
    assert found.upper - row["mean"] == pytest.approx(t.ppf(0.975, 5) * np.sqrt(variance))
    assert new_garden_limits(fit, ["cultivar"], 2, 0.95) == {}


def test_new_gardens_lie_within() -> None:
    """Of 300 trials of six gardens, a seventh's true mean lies within 95 % limits (bounds: 99.9 % binomial; seeded)."""
    rng, held, count = np.random.default_rng(8), 0, 300
    rows = trial([0.0] * 6)
    rows["cultivar"] = rows["treatment"]
    site, arm = rows["site"].str[1:].astype(int), (rows["treatment"] == "t1").astype(int)
    for _ in range(count):
        level, liking = rng.normal(0, 10, 7), rng.normal(0, 4, (7, 2))
        y = 100 + level[site] + liking[site, arm] + rng.normal(0, 5, len(rows))
        fit = fit_mixed(rows.assign(y=y), "y ~ treatment", ["site", "site:cultivar"])
        found = new_garden_limits(fit, ["cultivar"], 6, 0.95)["t1"]
        held += found.lower <= 100 + level[6] + liking[6, 1] <= found.upper
    low, high = binom.ppf([0.0005, 0.9995], count, 0.95)
    assert low <= held <= high

"""What a bucket's own heads tell of its mean day: by hand where days are known, by numerical integration where not."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from trialkit.analysis.own_days import own_days

S1, S2 = ("s1", "s2")


def heads(*rows: tuple[str, str, str, float, float]) -> pd.DataFrame:
    """Heads as bucket, garden, treatment and bounds."""
    return pd.DataFrame(rows, columns=["bucket", "site", "treatment", "lower", "upper"])


def exact(seed: int, buckets: int = 12, each: int = 4) -> pd.DataFrame:
    """Heads whose days are all known."""
    rng = np.random.default_rng(seed)
    names = [f"b{i:02d}" for i in range(buckets)]
    day = np.repeat(rng.normal(40, 2, buckets), each) + rng.normal(0, 1.5, buckets * each)
    return pd.DataFrame(
        {
            "bucket": np.repeat(names, each),
            "site": np.repeat([S1, S2] * (buckets // 2), each),
            "treatment": np.repeat(["t1", "t1", "t2", "t2"] * (buckets // 4), each),
            "lower": day,
            "upper": day,
        }
    )


def test_known_days_are_their_mean_and_its_error() -> None:
    """Whatever the other buckets say: the mean of the heads, and the variance pooled within buckets by their number."""
    rows = exact(1).drop(index=[0, 5, 6])
    found = own_days(rows, rows["upper"].to_numpy()[None])
    own = rows.groupby("bucket")["upper"]
    pooled = own.apply(lambda one: ((one - one.mean()) ** 2).sum()).sum() / (len(rows) - 12)
    assert found["days"].to_numpy() == pytest.approx(own.mean().to_numpy(), abs=1e-9)
    assert found["days_se"].to_numpy() == pytest.approx(np.sqrt(pooled / own.size().to_numpy()), rel=1e-9)


def test_heads_alike_err_by_the_rounding_of_a_day() -> None:
    """A day is told to the whole day: a twelfth of a day squared is left of each of four heads."""
    rows = exact(2).assign(lower=41.0, upper=41.0)
    rows.loc[rows["bucket"] == "b03", ["lower", "upper"]] = 44.0
    found = own_days(rows, rows["upper"].to_numpy()[None])
    assert found["days_se"].to_numpy() == pytest.approx((1 / 12 / 4) ** 0.5)
    assert found.loc["b03", "days"] == pytest.approx(44.0)


def test_bounds_cut_what_other_buckets_let_expect() -> None:
    """Mean and variance of a bucket's mean between bounds are those of numerical integration (quad)."""
    rows = exact(3)
    days = rows["upper"].to_numpy().copy()
    mine = {"b02": [(36.0, 39.0), (39.0, 42.0), (39.0, 42.0), (42.0, np.inf)], "b07": [(-np.inf, 40.0)] * 4}
    for name, bounds in mine.items():
        rows.loc[rows["bucket"] == name, ["lower", "upper"]] = bounds
    found = own_days(rows, days[None])

    means = pd.Series(days).groupby(rows["bucket"]).mean()
    of = rows.groupby("bucket")[["site", "treatment"]].first()
    # The design is balanced, so that what is expected is the mean of the garden and of the treatment less that of all.
    expected = means.groupby(of["site"]).transform("mean") + means.groupby(of["treatment"]).transform("mean")
    expected -= means.mean()
    variance = float(((means - expected) ** 2).sum() / (12 - 3))
    scatter = float(((days - means[rows["bucket"]].to_numpy()) ** 2).sum() / (48 - 12))
    for name, bounds in mine.items():

        def density(b: float, name: str = name, bounds: list[tuple[float, float]] = bounds) -> float:
            chances = [norm.cdf(high, b, scatter**0.5) - norm.cdf(low, b, scatter**0.5) for low, high in bounds]
            return float(norm.pdf(b, expected[name], variance**0.5) * np.prod(chances))

        def moment(power: int, about: float, density: Callable[[float], float] = density) -> float:
            return float(quad(lambda b: (b - about) ** power * density(b), 0, 80, epsabs=0, epsrel=1e-11, limit=200)[0])

        mean = moment(1, 0.0) / moment(0, 0.0)
        left = moment(2, mean) / moment(0, 0.0)
        told = 1 / left - 1 / variance
        assert found.loc[name, "days_se"] == pytest.approx(told**-0.5, rel=1e-6)
        assert found.loc[name, "days"] == pytest.approx((mean / left - expected[name] / variance) / told, rel=1e-6)
        assert found.loc[name, "days_se"] > (scatter / 4) ** 0.5


def test_what_tells_nothing_is_left_out() -> None:
    """A bucket that was ready long after everything was expected to be tells nothing when it was seen early."""
    rows = exact(4)
    days = rows["upper"].to_numpy().copy()
    rows.loc[rows["bucket"] == "b05", ["lower", "upper"]] = [5.0, np.inf]
    assert set(own_days(rows, days[None]).index) == set(rows["bucket"]) - {"b05"}


def test_order_of_heads_does_not_matter() -> None:
    """The same to twelve figures, in whatever order heads stand."""
    rows = exact(5)
    rows["upper"] = np.ceil(rows["upper"] / 3) * 3
    rows["lower"] = rows["upper"] - 3
    days = np.random.default_rng(5).uniform(rows["lower"], rows["upper"], (3, len(rows)))
    order = np.random.default_rng(6).permutation(len(rows))
    one, other = own_days(rows, days), own_days(rows.iloc[order], days[:, order])
    pd.testing.assert_frame_equal(one, other, rtol=1e-12)

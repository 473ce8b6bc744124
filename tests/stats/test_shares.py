"""Shares of heads that were marketable, against published intervals and a general library."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom
from statsmodels.genmod.cov_struct import Independence
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_estimating_equations import GEE

from trialkit.stats.shares import (
    compare_shares,
    difference_with_limits,
    overdispersion,
    share_with_limits,
    usable_heads,
)


def test_a_difference_without_clustering_is_newcombes() -> None:
    """56/70 less 48/80: 0.0524 to 0.3339 (Newcombe 1998, Stat. Med. 17, 873-890, table II, method 10; from memory)."""
    found = difference_with_limits((56, 70), (48, 80), 1.0, 0.95)
    assert (found.share, found.lower, found.upper) == pytest.approx((0.2, 0.0524, 0.3339), abs=5e-5)


def test_a_share_without_clustering_is_clopper_and_pearsons() -> None:
    """No head of ten lost: the lower limit is the tenth root of 0.025; none came through: one less that."""
    root = 0.025**0.1
    all_ten, none = (share_with_limits(x, 10, 1.0, 0.95) for x in (10, 0))
    assert (all_ten.share, all_ten.lower, all_ten.upper) == pytest.approx((1.0, root, 1.0))
    assert (none.share, none.lower, none.upper) == pytest.approx((0.0, 0.0, 1 - root))


def test_complete_separation_has_a_finite_difference() -> None:
    """Where one treatment lost every head and another none, the difference is 1 and its limits are finite."""
    found = difference_with_limits((24, 24), (0, 24), 2.0, 0.95)
    assert found.share == 1.0
    assert 0.5 < found.lower < found.upper <= 1.0
    assert difference_with_limits((3, 4), (0, 0), 1.0, 0.95) is None
    assert share_with_limits(0, 0, 1.0, 0.95) is None


def clustered(rng: np.random.Generator, buckets: int, shares: list[float], heads: int = 4) -> pd.DataFrame:
    """Buckets whose heads fare alike: beta-binomial with an intra-bucket correlation of one quarter."""
    rows = []
    for i, share in enumerate(shares):
        p = rng.beta(3 * share, 3 * (1 - share), buckets)
        rows += [(f"t{i + 1}", x, heads) for x in rng.binomial(heads, p)]
    return pd.DataFrame(rows, columns=["treatment", "usable", "recorded"])


def test_overdispersion_is_found() -> None:
    """The design effect of clusters of four at correlation 1/4 is 1 + 3/4 (Kish 1965, Survey Sampling; from memory)."""
    found = overdispersion(clustered(np.random.default_rng(4), 2000, [0.8, 0.7]))
    assert found == pytest.approx(1.75, abs=0.1)


def test_buckets_that_die_whole_count_as_one() -> None:
    """Buckets of four heads that live or die together: Pearson's chi-square is 4 times the number of buckets."""
    rows = [(t, x, 4) for t, counts in (("t1", [4, 0] * 10), ("t2", [0, 4, 4, 4] * 5)) for x in counts]
    buckets = pd.DataFrame(rows, columns=["treatment", "usable", "recorded"])
    assert overdispersion(buckets) == pytest.approx(4 * 40 / 38)


def test_half_widths_are_those_of_estimating_equations() -> None:
    """With many buckets the interval of a share is that of a logistic GEE with robust errors (statsmodels), to 10 %."""
    buckets = clustered(np.random.default_rng(6), 400, [0.8])
    heads = buckets.loc[buckets.index.repeat(4)].reset_index(names="bucket")
    heads["came"] = (heads.groupby("bucket").cumcount() < heads["usable"]).astype(float)
    fit = GEE(
        heads["came"], np.ones(len(heads)), groups=heads["bucket"], family=Binomial(), cov_struct=Independence()
    ).fit()
    low, high = 1 / (1 + np.exp(-np.asarray(fit.conf_int())[0]))
    found = share_with_limits(heads["came"].sum(), len(heads), overdispersion(buckets), 0.95)
    assert found.share == pytest.approx(heads["came"].mean())
    assert found.upper - found.lower == pytest.approx(high - low, rel=0.1)


def test_clustered_shares_keep_their_level() -> None:
    """With heads that fare alike, equal shares are called different in 5 % of 400 trials (bound: 99.9 % binomial)."""
    rng = np.random.default_rng(20261127)
    rejected = naive = 0
    for _ in range(400):
        buckets = clustered(rng, 24, [0.8] * 4)
        sums = buckets.groupby("treatment")[["usable", "recorded"]].sum().to_numpy(float)
        p = compare_shares(sums[:, 0], sums[:, 1], overdispersion(buckets)).p
        unclustered = compare_shares(sums[:, 0], sums[:, 1], 1.0).p
        assert p is not None
        assert unclustered is not None
        rejected, naive = rejected + (p < 0.05), naive + (unclustered < 0.05)
    low, high = binom.ppf([0.0005, 0.9995], 400, 0.05)
    assert low <= rejected <= high
    assert naive > high  # taking heads as independent does not keep it


def test_too_few_losses_give_no_test() -> None:
    """By Cochran's rule: where most expected counts are below five there is a statistic and no p."""
    found = compare_shares(np.array([11.0, 12, 12, 12]), np.full(4, 12.0), 1.0)
    assert found.p is None
    assert found.chi_square is not None
    assert compare_shares(np.array([12.0, 12.0]), np.full(2, 12.0), 1.0).p is None


def test_usable_heads_are_those_that_can_be_eaten() -> None:
    """Harvested and not marked unmarketable; a blank is no no."""
    heads = pd.DataFrame(
        {
            "bucket": list("aaab"),
            "treatment": "t1",
            "outcome": ["harvested", "harvested", "dead", "harvested"],
            "marketable": pd.array([True, False, None, None], dtype="boolean"),
        }
    )
    assert usable_heads(heads, ["treatment"])[["usable", "recorded"]].to_numpy().tolist() == [[1, 3], [1, 1]]

"""Checks: band, spread, scale and missing buckets, each against something known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from small_trial import small_trial
from trialkit.analysis.checks import (
    bucket_residuals,
    from_power,
    is_uneven,
    missing_buckets,
    quantile_points,
    scale_of,
    site_spread,
)
from trialkit.mixed import fit_mixed

# Survival times of animals, in tens of hours, by poison and antidote: Box & Cox (1964), J. R. Stat. Soc. B 26, table 1.
POISONS = {
    ("I", "A"): (0.31, 0.45, 0.46, 0.43), ("I", "B"): (0.82, 1.10, 0.88, 0.72),
    ("I", "C"): (0.43, 0.45, 0.63, 0.76), ("I", "D"): (0.45, 0.71, 0.66, 0.62),
    ("II", "A"): (0.36, 0.29, 0.40, 0.23), ("II", "B"): (0.92, 0.61, 0.49, 1.24),
    ("II", "C"): (0.44, 0.35, 0.31, 0.40), ("II", "D"): (0.56, 1.02, 0.71, 0.38),
    ("III", "A"): (0.22, 0.21, 0.18, 0.23), ("III", "B"): (0.30, 0.37, 0.38, 0.29),
    ("III", "C"): (0.23, 0.25, 0.24, 0.22), ("III", "D"): (0.30, 0.36, 0.31, 0.33),
}  # fmt: skip


def buckets(sites: int = 3, blocks: int = 4, treatments: int = 4) -> pd.DataFrame:
    """One row a bucket of a complete trial."""
    index = pd.MultiIndex.from_product([range(sites), range(blocks), range(treatments)])
    frame = pd.DataFrame(list(index), columns=["site", "block", "treatment"]).astype(str)
    return frame.assign(bucket=[f"b{i:03d}" for i in range(len(frame))])


def test_equal_residuals_keep_the_order_of_the_layout() -> None:
    """By definition: three gardens with the same records leave equal residuals, and rounding must not order them."""
    frame = buckets()
    rng = np.random.default_rng(5)
    frame["y"] = np.tile(rng.integers(100, 200, len(frame) // 3), 3).astype(float)
    residuals = bucket_residuals(frame, "y")
    here = [point.bucket for point in quantile_points(residuals, 1)]
    for _ in range(5):
        noise = 1 + 1e-13 * rng.standard_normal(len(frame))
        other = replace(
            residuals, buckets=residuals.buckets.assign(studentised=residuals.buckets["studentised"] * noise)
        )
        assert [point.bucket for point in quantile_points(other, 1)] == here


def test_box_and_cox_poisons() -> None:
    """Their power is -0.75 with limits -1.13 and -0.37 on the additive model (1964, sec. 6, from memory).

    The likelihood's own shape is scipy's, which knows of no treatments: compared on residuals there is nothing to
    compare, so the profile is compared on a sample without any.
    """
    rows = [(poison, antidote, time) for (poison, antidote), times in POISONS.items() for time in times]
    data = pd.DataFrame(rows, columns=["poison", "antidote", "time"])
    scale = scale_of(fit_mixed(data, "time ~ poison + antidote"))
    assert scale.estimate == pytest.approx(-0.75, abs=0.0501)
    assert (scale.lower, scale.upper) == (pytest.approx(-1.13, abs=0.1), pytest.approx(-0.37, abs=0.1))
    assert scale.chosen == 1  # no power within the limits has a name here
    alone = scale_of(fit_mixed(data, "time ~ 1"))
    for point in alone.profile:
        expected = -2 * stats.boxcox_llf(point.power, data["time"])
        least = min(-2 * stats.boxcox_llf(other.power, data["time"]) for other in alone.profile)
        assert point.drop == pytest.approx(expected - least, abs=1e-6)


@pytest.mark.parametrize(("power", "inverse"), [(0.0, np.exp), (0.5, np.square), (2.0, np.sqrt)])
def test_means_come_back_without_bias(power: float, inverse: np.ufunc) -> None:
    """Means of a million draws, brought back, to 1 in 500; the square to second order only."""
    mean, sd = {0.0: (5.0, 0.2), 0.5: (12.0, 1.0), 2.0: (22500.0, 3000.0)}[power]
    drawn = inverse(np.random.default_rng(1).normal(mean, sd, 1_000_000))
    assert float(from_power(np.array(mean), power, sd**2)) == pytest.approx(float(drawn.mean()), rel=0.002)


def test_the_band_holds_what_it_says() -> None:
    """Of normal errors 5 % of the trials have a point outside, over 400 trials to three Monte Carlo errors; seeded."""
    rng, frame, trials = np.random.default_rng(5), buckets(), 400
    outside = 0
    for number in range(trials):
        points = quantile_points(bucket_residuals(frame.assign(y=rng.standard_normal(len(frame))), "y"), number)
        outside += any(not p.lower <= p.studentised <= p.upper for p in points)
    assert outside / trials == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / trials))


def test_spread_at_each_garden_is_unbiased() -> None:
    """Squares over the degrees of freedom that fall to a garden have the errors' variance as their mean; seeded."""
    rng, frame = np.random.default_rng(6), buckets()
    found = np.array(
        [
            [one.sd**2 for one in site_spread(bucket_residuals(frame.assign(y=rng.standard_normal(len(frame))), "y"))]
            for _ in range(400)
        ]
    )
    assert found.mean(0) == pytest.approx(1.0, abs=3 * float(found.std(0).max()) / 20)
    assert sum(one.df for one in site_spread(bucket_residuals(frame.assign(y=rng.random(len(frame))), "y"))) == (
        pytest.approx(48 - 12 - 3)
    )


def noisy_at_one(heads: pd.DataFrame) -> pd.DataFrame:
    """Head weights that vary six times as much at the first garden as elsewhere."""
    rng = np.random.default_rng(2)
    sd = np.where(heads["site"] == "s1", 36.0, 6.0)
    by_bucket = heads["bucket"].map(dict(zip(heads["bucket"], rng.standard_normal(len(heads)), strict=True)))
    weight = 120 + sd * by_bucket + rng.normal(0, 2, len(heads))
    return heads.assign(
        outcome="harvested",
        harvested_on="2026-09-30",
        last_not_ready_on="",
        weight_g=[f"{max(w, 5):.0f}" for w in weight],
        marketable="yes",
    )


def test_a_garden_that_varies_more_counts_for_less(tmp_path: Path) -> None:
    """Where one garden's buckets vary over three times as much, each garden has a variance, and that is said."""
    results = small_trial(tmp_path, sites=3, blocks=4, cultivars=3, days=False, change=noisy_at_one)
    found = results.responses["bucket_weight_g"]
    assert {row.term for row in found.variances} >= {"residual:s1", "residual:s2", "residual:s3"}
    assert "spread_by_garden" in {note.code for note in found.model.notes}
    check = next(one for one in found.checks if one.id == "spread")
    assert (check.ok, check.uneven, check.highest.site) == (False, True, "s1")
    assert "spread" in results.decision.cautions
    assert found.diagnostics is not None
    assert is_uneven(found.diagnostics.spread)


def test_missing_buckets_by_fishers_tea() -> None:
    """Four cups of eight, three of one kind: p = 34/70 (Fisher 1935, The Design of Experiments, ch. 2)."""
    layout = pd.DataFrame({"bucket": list("abcdefgh"), "cultivar": ["milk"] * 4 + ["tea"] * 4})
    check = missing_buckets(layout, pd.Series(list("aefg")), ["cultivar"], 1)
    assert (check.missing, check.buckets, check.ok) == (4, 8, True)
    assert check.p == pytest.approx(34 / 70)


def test_missing_buckets_of_one_treatment_are_named() -> None:
    """All buckets of one of three treatments gone, none of the others: not by chance."""
    layout = pd.DataFrame({"bucket": range(24), "cultivar": np.repeat(["A", "B", "C"], 8)})
    check = missing_buckets(layout, pd.Series(range(16)), ["cultivar"], 1)
    assert (check.ok, check.column, check.level) == (False, "cultivar", "C")


def much_alike(heads: pd.DataFrame) -> pd.DataFrame:
    """Two cultivars, the second 8.5 g heavier; errors of 4 g between heads."""
    rng = np.random.default_rng(9)
    weight = 120 + rng.normal(0, 4, len(heads)) + 8.5 * (heads["cultivar"] != "Larkmoor Butter")
    return heads.assign(
        outcome="harvested",
        harvested_on="2026-09-30",
        last_not_ready_on="",
        weight_g=[f"{w:.0f}" for w in weight],
        marketable="yes",
    )


def test_equivalence_goes_by_the_protocols_margin(tmp_path: Path) -> None:
    """Against the practice, two one-sided tests: the same limits as a 90 % interval, and the margin decides."""
    results = small_trial(tmp_path, sites=3, blocks=4, cultivars=2, days=False, change=much_alike)
    (row,) = results.responses["weight_g"].comparisons
    half = stats.t.ppf(0.95, row.df) * row.se
    assert row.equivalence.lower == pytest.approx(row.difference - half)
    assert row.equivalence.upper == pytest.approx(row.difference + half)
    assert row.equivalence.equivalent == (row.equivalence.lower > -10 and row.equivalence.upper < 10)
    t = (10 - abs(row.difference)) / row.se
    assert row.equivalence.p == pytest.approx(stats.t.sf(t, row.df))
    assert results.responses["weight_g"].pairs == ()

"""Power from numbers alone, against published tables, closed forms and the reference folder."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from trialkit.planning.power import (
    EstimatedDifference,
    detectable_difference,
    detectable_noncentrality,
    f_power,
    mean_root,
    simultaneous_critical,
)

# Computed with R 4.2.2, stats (power.t.test, power.anova.test, qf, pf); the file says which.
REFERENCE: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "reference" / "power" / "power.json").read_text(encoding="utf-8")
)


@pytest.mark.parametrize("case", REFERENCE["two_sample_t"])
def test_t_test_as_in_r(case: dict[str, Any]) -> None:
    """Power of the two-sided t test, two samples or pairs, is R's to 1e-8 whatever R solved for."""
    pairs = case["n_is"] == "pairs"
    variance = case["sd"] ** 2 / case["n"] * (1 if pairs else 2)
    df = (case["n"] - 1) * (1 if pairs else 2)
    power = f_power(case["difference"] ** 2 / variance, 1, df, case["alpha"])
    assert power == pytest.approx(case["power"], abs=1e-8)


@pytest.mark.parametrize("case", REFERENCE["one_way_anova"])
def test_one_way_anova_as_in_r(case: dict[str, Any]) -> None:
    """Power of the one-way F test is R's to 1e-8; to 1e-6 where R solved for n, to its own tolerance of 1e-4 on n.

    At that n the Poisson mixture of beta tails that defines the non-central F gives 0.800000796, as ours does.
    """
    groups, n = case["groups"], case["n_per_group"]
    between = case["between_group_variance_divisor_groups_minus_1"] * (groups - 1)
    power = f_power(n * between / case["within_variance"], groups - 1, groups * (n - 1), case["alpha"])
    assert power == pytest.approx(case["power"], abs=1e-8 if n == int(n) else 1e-6)


@pytest.mark.parametrize("case", REFERENCE["randomised_complete_blocks_noncentral_f"])
def test_complete_blocks_as_in_r(case: dict[str, Any]) -> None:
    """Non-centrality and power of treatments in complete blocks are R's to 1e-8; no effect has the level as power."""
    squares = case["treatment_effects_variance_divisor_t_minus_1"] * (case["treatments"] - 1)
    noncentrality = case["blocks"] * squares / case["error_variance"]
    assert noncentrality == pytest.approx(case["noncentrality"], abs=1e-8)
    power = f_power(noncentrality, case["numerator_df"], case["denominator_df"], case["alpha"])
    assert power == pytest.approx(case["power"], abs=1e-8)


@pytest.mark.parametrize("case", REFERENCE["smallest_difference_detectable"])
def test_detectable_difference_as_in_r(case: dict[str, Any]) -> None:
    """The smallest difference found with a given power is R's to 1e-8."""
    variance = 2 * case["sd"] ** 2 / case["n_per_treatment"]
    difference = detectable_difference(variance, case["df"], power=case["power"])
    assert difference == pytest.approx(case["difference"], rel=1e-8)


@pytest.mark.parametrize(
    ("effect", "printed", "exact"),
    [
        (0.2, 393, 393.41), (0.4, 100, 99.08), (0.5, 64, 63.77), (0.6, 45, 44.59), (0.7, 33, 33.02), (0.8, 26, 25.52),
        (1.0, 17, 16.71), (1.2, 12, 11.94), (1.4, 9, 9.08),
    ],
)  # fmt: skip
def test_group_sizes_of_cohen_for_t(effect: float, printed: int, exact: float) -> None:
    """Group sizes for power .80 of a two-sided t test: Cohen (1988), Table 2.4.1, which rounds to nearest."""
    n = brentq(lambda size: f_power(size * effect**2 / 2, 1, 2 * (size - 1)) - 0.8, 3, 1000)
    assert n == pytest.approx(exact, abs=0.006)
    assert abs(n - printed) <= 1


@pytest.mark.parametrize(("effect", "printed", "exact"), [(0.10, 274, 273.5), (0.25, 45, 44.6), (0.40, 18, 18.04)])
def test_group_sizes_of_cohen_for_f(effect: float, printed: int, exact: float) -> None:
    """Sizes of four groups for power .80 are those of Cohen (1992), Psychol. Bull. 112, 155-159, Table 2."""
    n = brentq(lambda size: f_power(4 * size * effect**2, 3, 4 * (size - 1)) - 0.8, 3, 1000)
    assert n == pytest.approx(exact, abs=0.06)
    assert abs(n - printed) <= 1


@pytest.mark.parametrize(
    ("sds", "expected"),
    [(2.0, (0.297, 0.460, 0.606, 0.724, 0.813, 0.877)), (1.5, (0.182, 0.273, 0.367, 0.459, 0.544, 0.621))],
)
def test_four_treatments_in_blocks(sds: float, expected: tuple[float, ...]) -> None:
    """Four treatments in 3 to 8 blocks, the extreme two some SD apart: lambda = r d^2 / 2 (non-central F, computed)."""
    found = [f_power(r * sds**2 / 2, 3, 3 * (r - 1)) for r in range(3, 9)]
    assert found == pytest.approx(expected, abs=0.001)


@pytest.mark.parametrize(
    ("df", "printed"),
    [
        (10, (2.568, 2.759, 2.890, 2.990, 3.070)),
        (12, (2.502, 2.683, 2.807, 2.901, 2.977)),
        (15, (2.439, 2.610, 2.727, 2.816, 2.887)),
        (20, (2.379, 2.540, 2.651, 2.735, 2.802)),
    ],
)
def test_simultaneous_critical_values_of_dunnett(df: int, printed: tuple[float, ...]) -> None:
    """Two-sided critical values for 2 to 6 treatments against one control: Dunnett (1964), Biometrics 20, 482-491."""
    found = [simultaneous_critical(np.array([float(df)]), k, 0.5, 0.05)[0] for k in range(2, 7)]
    assert found == pytest.approx(printed, abs=0.001)


def test_simultaneous_critical_values_between_nodes() -> None:
    """Interpolated over degrees of freedom, a critical value is that worked out by itself, to five digits."""
    df = np.array([1.0, 1.3, 2.5, 4.0, 7.0, 12.0, 60.0, 500.0])
    alone = [simultaneous_critical(df[[i]], 5, 0.5, 0.05)[0] for i in range(len(df))]
    assert simultaneous_critical(df, 5, 0.5, 0.05) == pytest.approx(alone, rel=1e-5)


@pytest.mark.parametrize(("df", "printed"), [(1, 0.7979), (4, 0.9400), (9, 0.9727)])
def test_mean_root_of_a_mean_square(df: int, printed: float) -> None:
    """The mean of a standard deviation over the true one is c4 of control charts (n = 2, 5, 10; from memory)."""
    assert mean_root(df) == pytest.approx(printed, abs=5e-5)


def test_a_difference_of_two_strata_against_plain_simulation() -> None:
    """Power, width: two mean squares drawn two million times agree within four standard errors."""
    parts, df, n = np.array([6.0, 3.0]), np.array([3.0, 30.0]), 2_000_000
    rng = np.random.default_rng(20260820)
    estimated = parts * rng.chisquare(df, (n, 2)) / df
    satterthwaite = estimated.sum(1) ** 2 / (estimated**2 / df).sum(1)
    from scipy.special import stdtrit

    reach = stdtrit(satterthwaite, 0.975) * np.sqrt(estimated.sum(1))
    found = np.abs(rng.normal(9.0, 3.0, n)) > reach
    difference = EstimatedDifference(parts, df, 0.05)
    assert difference.power(9.0) == pytest.approx(found.mean(), abs=4 * found.std() / math.sqrt(n))
    assert difference.half_width() == pytest.approx(reach.mean(), abs=4 * reach.std() / math.sqrt(n))


def test_a_part_of_nothing_changes_nothing() -> None:
    """A difference with all its variance in one stratum has the exact power of the non-central F."""
    difference = EstimatedDifference(np.array([9.0, 0.0]), np.array([8.0, 30.0]), 0.05)
    assert difference.single
    assert difference.power(9.0) == f_power(9.0, 1, 8)
    assert difference.detectable(0.8) == detectable_difference(9.0, 8)


NONCENTRALITY = st.floats(0.01, 60.0)
DF = st.floats(1.0, 200.0)


@given(NONCENTRALITY, st.floats(1.05, 3.0), st.integers(1, 12), DF)
def test_power_rises_with_the_effect(noncentrality: float, factor: float, numerator: int, df: float) -> None:
    """A larger effect is never found less often, and none less often than the level."""
    small, large = f_power(noncentrality, numerator, df), f_power(noncentrality * factor, numerator, df)
    assert 0.05 - 1e-9 <= small <= large + 1e-9 <= 1 + 1e-9


@given(NONCENTRALITY, st.integers(1, 12), DF, st.floats(1.05, 10.0))
def test_power_rises_with_degrees_of_freedom(noncentrality: float, numerator: int, df: float, factor: float) -> None:
    """Knowing the error variance better never lowers power."""
    assert f_power(noncentrality, numerator, df) <= f_power(noncentrality, numerator, df * factor) + 1e-9


@given(st.integers(1, 12), DF, st.floats(0.1, 0.99))
def test_detectable_is_the_inverse_of_power(numerator: int, df: float, power: float) -> None:
    """What is detectable with a power has that power."""
    noncentrality = detectable_noncentrality(numerator, df, power=power)
    assert f_power(noncentrality, numerator, df) == pytest.approx(power, abs=1e-8)


@given(st.lists(st.tuples(st.floats(0.5, 50.0), st.integers(4, 60)), min_size=2, max_size=4), st.floats(0.5, 20.0))
def test_a_difference_of_several_strata_lies_between(strata: list[tuple[float, int]], difference: float) -> None:
    """Satterthwaite's d.f. lie between the fewest and the sum; power is hardly above that with variances known.

    From four d.f. up: with one, the approximation rejects up to twice too often.
    """
    parts, df = np.array([s[0] for s in strata]), np.array([float(s[1]) for s in strata])
    estimated, noncentrality = EstimatedDifference(parts, df, 0.05), difference**2 / parts.sum()
    assert df.min() - 1e-9 <= estimated.df <= df.sum() + 1e-9
    assert estimated.power(difference) <= f_power(noncentrality, 1, 1e6, 0.05) + 0.05

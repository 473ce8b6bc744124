"""Exact power of planned designs: the classical error strata, closed forms, and what must rise and fall."""

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.documents.plan import EffectPower
from trialkit.domain.errors import WrongCall
from trialkit.domain.treatment import Treatment
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.planned_design import PlannedDesign, planned_design
from trialkit.planning.planned_power import Goal, PlannedPower
from trialkit.planning.power import f_power, mean_root
from trialkit.planning.refusal import CannotBeJudged

REFERENCE: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "reference" / "power" / "power.json").read_text(encoding="utf-8")
)
CURRENT = {"cultivar": "Larkmoor Butter", "dose_tsp": 4.0}


def effect(power: PlannedPower, name: str) -> EffectPower:
    """One effect by name."""
    return next(e for e in power.effects if e.effect == name)


def one_garden(treatments: int, blocks: int, heads: int) -> PlannedDesign:
    """Complete blocks of one garden."""
    names = [f"T{i}" for i in range(treatments)]
    layout = pd.DataFrame([(b, t) for b in range(blocks) for t in names], columns=["block", "cultivar"])
    layout = layout.assign(site="Fernsedge", bucket=np.arange(len(layout)))
    return planned_design(layout, heads, ["cultivar"], lambda _: ("weight_g ~ cultivar", ("site:block", "bucket")))


@pytest.mark.parametrize("case", REFERENCE["buckets_with_several_heads"])
def test_buckets_with_several_heads_as_in_r(case: dict[str, Any]) -> None:
    """Power from the engine's strata is that of R's non-central F, to 1e-8: heads are subsamples of their bucket."""
    design = one_garden(case["treatments"], case["blocks"], case["heads_per_bucket"])
    assumed = Assumptions(bucket=case["bucket_variance"], head=case["head_variance"])
    found = effect(expected_power(design, assumed, Goal(case["largest_difference"], {"cultivar": "T0"})), "cultivar")
    assert found.method == "exact"
    assert found.denominator_df == case["denominator_df"]
    assert found.noncentrality == pytest.approx(case["noncentrality"], rel=1e-10)
    assert found.power == pytest.approx(case["power"], abs=1e-8)


@given(
    treatments=st.integers(2, 6),
    blocks=st.integers(3, 6),
    heads=st.integers(2, 5),
    bucket=st.floats(1.0, 300.0),
    head=st.floats(20.0, 500.0),
)
@settings(max_examples=20, deadline=None)
def test_closed_form_of_subsampled_blocks(treatments: int, blocks: int, heads: int, bucket: float, head: float) -> None:
    """``lambda = b sum(tau^2) / (sigma_b^2 + sigma^2 / m)`` on (t - 1)(b - 1) d.f., whatever sizes and variances.

    Heads are subsamples, and the test divides by the variance of bucket means (Cochran & Cox 1957, Experimental
    Designs, 2nd ed., on subsampling; from memory).
    """
    design = one_garden(treatments, blocks, heads)
    power = expected_power(design, Assumptions(bucket=bucket, head=head), Goal(10.0, {"cultivar": "T0"}))
    found, difference = effect(power, "cultivar"), power.hardest
    assert found.noncentrality == pytest.approx(blocks * 50.0 / (bucket + head / heads), rel=1e-8)
    assert found.denominator_df == (treatments - 1) * (blocks - 1)
    variance = 2 * (bucket + head / heads) / blocks
    assert difference.standard_error_g == pytest.approx(math.sqrt(variance), rel=1e-8)
    assert difference.power == pytest.approx(f_power(100.0 / variance, 1, difference.df), abs=1e-8)


def test_one_head_a_bucket_adds_both_variances(plans: Any, assumptions: Assumptions) -> None:
    """With one head the bucket is the residual, and its variance is the bucket's and the head's together."""
    design = plans.blocks(1, 4, 1)
    assert design.random == ("site:block",)
    assert design.variances(assumptions) == pytest.approx([40.0, 80.0 + 200.0])


def test_a_block_that_fills_its_garden_adds_its_variance(plans: Any, assumptions: Assumptions) -> None:
    """With one block a garden its variance adds to the garden's, and an effect's between gardens to the bucket's."""
    design = plans.blocks(4, 1, 3)
    assert design.random == ("site", "bucket")
    # One bucket of a cultivar in a garden: the effect differing between gardens is in the bucket.
    assert design.variances(assumptions) == pytest.approx([240.0, 90.0, 200.0])
    assert design.uncounted == ()


def test_split_plot_closed_forms(plans: Any, assumptions: Assumptions) -> None:
    """Whole-plot and sub-plot factors have their own errors (Yates 1935); here that of the effect between 3 gardens.

    Acidifier: xi = m s_b + s + 3 m s_w + b 3 m s_gf on g - 1 d.f.; dose: xi = m s_b + s + b 2 m s_gf on (3 - 1)(g - 1);
    with m = 4 heads, b = 2 blocks, g = 3 gardens.
    """
    levels = {"dose_tsp": [2.0, 4.0, 6.0], "acidifier": ["citric acid", "white vinegar 5 %"]}
    design = plans.split_plot(3, 2, 4, levels, "acidifier")
    power = expected_power(design, assumptions, Goal(10.0, {"dose_tsp": 4.0, "acidifier": "citric acid"}))
    bucket = 4 * 80 + 200
    # 144 heads: 72 of each acidifier, 48 of each dose, whose extreme levels lie 5 g from the mean.
    acidifier, dose = effect(power, "acidifier"), effect(power, "dose_tsp")
    assert acidifier.denominator_df == 2
    assert acidifier.noncentrality == pytest.approx(72 * 50 / (bucket + 12 * 30 + 24 * 10), rel=1e-8)
    assert dose.denominator_df == 4
    assert dose.noncentrality == pytest.approx(48 * 50 / (bucket + 16 * 10), rel=1e-8)
    assert effect(power, "dose_tsp:acidifier").denominator_df == 16
    assert power.method == "exact"


def test_a_difference_of_two_factors_is_less_precise(plans: Any, assumptions: Assumptions) -> None:
    """A treatment that differs in two factors carries the differences of both between gardens."""
    power = expected_power(plans.blocks(4, 3, 4, plans.factorial), assumptions, Goal(15.0, CURRENT))
    one = next(d for d in power.differences if d.treatment == Treatment("Fenleaf", 4.0))
    both = power.hardest
    assert both.treatment.cultivar != "Larkmoor Butter"
    assert both.treatment.dose_tsp != 4.0
    # 2 (s_b + s / m) / (g b) and 2 s_gf / g for each factor.
    assert one.standard_error_g**2 == pytest.approx(2 * 130 / 12 + 2 * 10 / 4)
    assert both.standard_error_g**2 == pytest.approx(2 * 130 / 12 + 4 * 10 / 4)
    assert both.power < one.power


def test_widths_of_intervals(plans: Any, assumptions: Assumptions) -> None:
    """Expected half-width: Dunnett's critical value, standard error, and the mean root of a mean square.

    The critical value for 3 treatments against one control, 9 d.f. at 5 %, two-sided, is 2.81 (Dunnett 1964, from
    memory).
    """
    difference = expected_power(plans.blocks(1, 4, 4), assumptions, Goal(15.0, {"cultivar": "Fenleaf"})).hardest
    scale = math.sqrt(2 * 130 / 4) * mean_root(9)
    assert difference.half_width_g == pytest.approx(2.81 * scale, rel=3e-3)


def test_detectable_differences_have_the_power_wanted(plans: Any, assumptions: Assumptions) -> None:
    """A margin equal to what is detectable is found with the power asked for: effects and differences, any stratum."""
    design, goal = plans.blocks(3, 2, 4, plans.factorial), Goal(10.0, CURRENT, power=0.9)
    first = expected_power(design, assumptions, goal)
    for name in design.effects:
        again = replace(goal, margin_g=effect(first, name).detectable_g)
        assert effect(expected_power(design, assumptions, again), name).power == pytest.approx(0.9, abs=1e-6)
    again = replace(goal, margin_g=first.hardest.detectable_g)
    assert expected_power(design, assumptions, again).hardest.power == pytest.approx(0.9, abs=1e-6)


VARIANCE = st.sampled_from(["site_by_factor", "bucket", "head"])


@given(sites=st.integers(3, 5), blocks=st.integers(1, 3), heads=st.integers(1, 4), which=VARIANCE)
@settings(max_examples=15, deadline=None)
def test_power_rises_with_size_and_falls_with_variance(
    plans: Any, sites: int, blocks: int, heads: int, which: str
) -> None:
    """Another garden, block or head never lowers power, and a larger variance never raises it."""
    goal, assumed = Goal(15.0, {"cultivar": "Fenleaf"}), Assumptions()

    def power(sites: int, blocks: int, heads: int, assumed: Assumptions) -> float:
        return expected_power(plans.blocks(sites, blocks, heads), assumed, goal).hardest.power

    base = power(sites, blocks, heads, assumed)
    assert power(sites + 1, blocks, heads, assumed) > base
    assert power(sites, blocks + 1, heads, assumed) > base - 1e-9
    assert power(sites, blocks, heads + 1, assumed) > base
    assert power(sites, blocks, heads, assumed.scaled(2.0, which)) < base


def test_gardens_and_blocks_cost_a_comparison_nothing(plans: Any, assumptions: Assumptions) -> None:
    """Complete blocks take differences between gardens and blocks out: however large, power stays."""
    design, goal = plans.blocks(3, 2, 4), Goal(15.0, {"cultivar": "Fenleaf"})
    wild = replace(assumptions, site=20_000.0, block=5_000.0)
    assert expected_power(design, wild, goal).hardest.power == pytest.approx(
        expected_power(design, assumptions, goal).hardest.power, abs=1e-9
    )


def test_two_gardens_speak_for_themselves(plans: Any, assumptions: Assumptions) -> None:
    """With two gardens, effects that differ between gardens are not counted, and the answer says so."""
    power = expected_power(plans.blocks(2, 3, 4, plans.factorial), assumptions, Goal(15.0, CURRENT))
    assert power.uncounted == ("site:cultivar", "site:dose_tsp")


def test_approximate_where_not_orthogonal(plans: Any, assumptions: Assumptions) -> None:
    """Small blocks of some of the treatments are not orthogonal, and the answer says that it is approximate."""
    power = expected_power(plans.volunteers(2, 3, 4), assumptions, Goal(15.0, {"cultivar": "T0"}))
    assert power.method == "approximate"
    assert 0.05 < power.hardest.power < 1.0


def test_known_non_orthogonal_variance() -> None:
    """Balanced pairs, blocks fixed by a huge variance: a difference has variance 2 v / (r E), E = v lambda / (r k).

    Cochran & Cox (1957), ch. 11: six treatments in blocks of two, every pair once: r = 5, E = 0.6.
    """
    pairs = [(i, j) for i in range(6) for j in range(i)]
    rows = [{"volunteer": f"v{n}", "cultivar": f"T{t}"} for n, pair in enumerate(pairs) for t in pair]
    layout = pd.DataFrame(rows).assign(bucket=lambda frame: np.arange(len(frame)))
    design = planned_design(layout, 4, ["cultivar"], lambda _: ("weight_g ~ cultivar", ("volunteer", "bucket")))
    assumed = Assumptions(block=1e9, bucket=80.0, head=200.0)
    difference = expected_power(design, assumed, Goal(15.0, {"cultivar": "T0"})).hardest
    assert difference.standard_error_g**2 == pytest.approx(2 * 130 / (5 * 0.6), rel=1e-5)


def test_latin_square(assumptions: Assumptions) -> None:
    """Five treatments in a square of rows and columns: (t - 1)(t - 2) error d.f.; a difference 2 (s_b + s / m) / t."""
    cells = [{"row": f"r{i}", "column": f"c{j}", "cultivar": f"T{(i + j) % 5}"} for i in range(5) for j in range(5)]
    layout = pd.DataFrame(cells).assign(bucket=lambda frame: np.arange(len(frame)))
    model = ("weight_g ~ cultivar", ("row", "column", "bucket"))
    power = expected_power(
        planned_design(layout, 4, ["cultivar"], lambda _: model), assumptions, Goal(15.0, {"cultivar": "T2"})
    )
    assert power.effects[0].denominator_df == pytest.approx(12)
    assert power.hardest.df == pytest.approx(12)
    assert power.hardest.standard_error_g**2 == pytest.approx(2 * 130 / 5)


def test_more_copies_of_the_current_practice(assumptions: Assumptions) -> None:
    """The current practice twice in each block: a difference has variance (1 + 1 / 2)(s_b + s / m) / b, still exact."""
    names = ["T0", "T0", "T1", "T2", "T3", "T4"]
    layout = pd.DataFrame([{"block": b, "cultivar": t} for b in range(4) for t in names])
    layout = layout.assign(site="Fernsedge", bucket=np.arange(len(layout)))
    model = ("weight_g ~ cultivar", ("site:block", "bucket"))
    power = expected_power(
        planned_design(layout, 4, ["cultivar"], lambda _: model), assumptions, Goal(15.0, {"cultivar": "T0"})
    )
    assert power.method == "exact"
    assert power.hardest.df == 16
    assert power.hardest.standard_error_g**2 == pytest.approx(1.5 * 130 / 4)


def test_one_copy_of_each_treatment_is_refused() -> None:
    """One block of one garden leaves nothing to estimate a variance of buckets from: refused with the reason."""
    with pytest.raises(CannotBeJudged, match="not analysable"):
        expected_power(one_garden(4, 1, 1), Assumptions(), Goal(10.0, {"cultivar": "T0"}))


def test_unknown_current_practice_is_refused(plans: Any) -> None:
    """The current practice must be one of the treatments."""
    with pytest.raises(WrongCall, match="not among the treatments"):
        expected_power(plans.blocks(1, 3, 2), Assumptions(), Goal(10.0, {"cultivar": "Tarnfrost"}))


@pytest.mark.parametrize("margin", [0.0, -5.0, float("nan"), float("inf")])
def test_a_margin_of_nothing_is_refused(margin: float) -> None:
    """No trial finds a difference of nothing; the message says which key to change."""
    with pytest.raises(WrongCall, match=r"decision\.margin_g"):
        Goal(margin, {})


def test_a_power_below_the_level_is_refused() -> None:
    """A power wanted below the level makes no sense."""
    with pytest.raises(WrongCall, match="between the level"):
        Goal(10.0, {}, power=0.01)

"""Sizes around a trial, their cost, which change buys most, and why heads soon stop helping."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.design import Design
from trialkit.planning.exact import expected_power
from trialkit.planning.gains import heads_limit, which_change_buys_most
from trialkit.planning.grid import (
    Costs,
    Size,
    difference_curve,
    effect_curve,
    plan_grid,
    sensitivity,
    sizes_around,
)
from trialkit.planning.outcome import Goal

GOAL = Goal(15.0, {"cultivar": "Larkmoor Butter", "dose_tsp": 4.0})
COSTS = Costs(per_site=20.0, per_bucket=6.0, per_head=0.5, fixed=10.0)


@pytest.fixture
def design_of(plans: Any) -> Any:
    """The factorial in complete blocks, of any size."""

    def design(size: Size) -> Design:
        return plans.blocks(size.sites, size.blocks, size.heads, plans.factorial)

    return design


def test_costs_and_buckets_of_each_size(design_of: Any) -> None:
    """Eight treatments: buckets are gardens x blocks x 8; the cost adds gardens, buckets, heads and what is fixed."""
    sizes = sizes_around(Size(3, 2, 4), sites=(0, 1), blocks=(0, 1), heads=(-1, 0, 2))
    options = plan_grid(sizes, design_of, Assumptions(), GOAL, COSTS)
    assert len(options) == 12
    for option in options:
        assert option.buckets == option.size.sites * option.size.blocks * 8
        assert option.heads == option.buckets * option.size.heads
        assert option.cost == 10 + 20 * option.size.sites + 6 * option.buckets + 0.5 * option.heads
        assert option.difference == option.power.hardest
        assert option.weakest_main_effect.effect in ("cultivar", "dose_tsp")


def test_a_size_that_cannot_be_analysed_says_why(plans: Any) -> None:
    """One copy of each treatment in one garden: the grid goes on, and this size has a reason instead of a power."""
    goal = Goal(15.0, {"cultivar": "Fenleaf"})
    options = plan_grid(
        [Size(1, 1, 1), Size(1, 3, 1)], lambda s: plans.blocks(s.sites, s.blocks, s.heads), Assumptions(), goal, Costs()
    )
    assert options[0].power is None
    assert "add a block or a garden" in options[0].refused
    assert options[0].weakest_main_effect is None
    assert options[1].power


@given(st.builds(Size, st.integers(1, 9), st.integers(1, 9), st.integers(1, 9)))
def test_sizes_around_a_trial(size: Size) -> None:
    """The trial itself is among the sizes around it, each once, in order, none below 1."""
    sizes = sizes_around(size)
    assert size in sizes
    assert list(sizes) == sorted(set(sizes))
    assert min(min(s.sites, s.blocks, s.heads) for s in sizes) >= 1


def test_blocks_that_cost_little_buy_most(design_of: Any) -> None:
    """Where gardens are dear a block buys most, where they are cheap a garden: it averages its own differences too."""
    dear_gardens = Costs(per_site=5000.0, per_bucket=5.0, per_head=2.0)
    dear = which_change_buys_most(Size(4, 2, 4), design_of, Assumptions(), GOAL, dear_gardens)
    assert dear.gains[0].kind == "blocks"
    cheap = which_change_buys_most(Size(4, 2, 4), design_of, Assumptions(), GOAL, Costs(per_bucket=5.0, per_head=2.0))
    assert cheap.gains[0].kind == "sites"
    assert cheap.sentences[0] == "Another garden buys most for what it costs."


def test_sentences_of_advice(design_of: Any) -> None:
    """What each change brings in plain words: chance, interval, effort; and the floor that heads cannot pass."""
    advice = which_change_buys_most(Size(3, 2, 4), design_of, Assumptions(), GOAL, COSTS)
    assert {gain.kind for gain in advice.gains} == {"sites", "blocks", "heads"}
    assert len(advice.sentences) == 5
    block = next(s for s in advice.sentences if s.startswith("Another block in each garden ("))
    assert "24 more buckets, 96 more heads, 192.00 more to pay" in block
    assert "chance of finding a difference of 15 g goes from" in block
    assert "already 59 % of the variance" in advice.sentences[-1]
    assert all(gain.power > 0 and gain.half_width_g > 0 for gain in advice.gains)


def test_a_full_bucket_takes_no_more_heads(design_of: Any) -> None:
    """Where a bucket holds no more heads, another head is not proposed."""
    advice = which_change_buys_most(Size(3, 2, 4), design_of, Assumptions(), GOAL, COSTS, most_heads=4)
    assert {gain.kind for gain in advice.gains} == {"sites", "blocks"}


def test_what_costs_nothing_and_helps_comes_first(design_of: Any) -> None:
    """Heads that cost nothing go before gardens and blocks that do."""
    advice = which_change_buys_most(Size(4, 2, 4), design_of, Assumptions(), GOAL, Costs(per_bucket=5.0))
    assert advice.gains[0].kind == "heads"


def test_without_costs_it_says_so(design_of: Any) -> None:
    """No costs: the changes are ranked by what they bring, and the sentence says that cost is left out."""
    advice = which_change_buys_most(Size(3, 2, 4), design_of, Assumptions(), GOAL, Costs())
    assert not advice.priced
    assert "cost is left out" in advice.sentences[0]


def test_a_third_garden_widens_what_is_answered(design_of: Any) -> None:
    """Going from two gardens to three, effects that differ between gardens begin to count; the advice says so."""
    advice = which_change_buys_most(Size(2, 3, 4), design_of, Assumptions(), GOAL, Costs())
    third = next(gain for gain in advice.gains if gain.kind == "sites")
    assert third.widens_scope
    assert any("gardens at large" in sentence for sentence in advice.sentences)


def test_a_trial_that_cannot_be_judged_gets_no_advice(plans: Any) -> None:
    """One copy in one garden: the reason, not an advice."""

    def refuse(*_: object) -> Any:
        raise NotComputed("too small")

    advice = which_change_buys_most(
        Size(1, 1, 1), lambda s: plans.blocks(s.sites, s.blocks, s.heads), Assumptions(), GOAL, COSTS, refuse
    )
    assert advice.gains == ()
    assert "too small" in advice.sentences[0]


@given(st.floats(1.0, 500.0), st.floats(1.0, 500.0), st.integers(1, 11))
def test_more_heads_leave_more_of_the_variance_to_the_bucket(bucket: float, head: float, heads: int) -> None:
    """The bucket's own share rises with each head and never reaches one."""
    assumed = Assumptions(bucket=bucket, head=head)
    few, many = heads_limit(assumed, heads).bucket_share, heads_limit(assumed, heads + 1).bucket_share
    assert 0 < few < many < 1


def test_half_and_double_variances(design_of: Any) -> None:
    """Half the variances raise power and double ones lower it; variances that the design lacks are left out."""
    design = design_of(Size(3, 2, 4))
    base = expected_power(design, Assumptions(), GOAL).hardest.power
    others = sensitivity(design, Assumptions(), GOAL)
    assert {name for name, _ in others} == {"all", "site", "block", "site_by_factor", "bucket", "head"}
    for name in ("all", "site_by_factor", "bucket", "head"):
        assert others[name, 2.0].hardest.power < base < others[name, 0.5].hardest.power
    assert others["site", 2.0].hardest.power == pytest.approx(base, abs=1e-9)


def test_curves_pass_through_the_planned_power(design_of: Any) -> None:
    """At the margin a power curve shows the planned power (exactly for effects), at no difference the level."""
    planned = expected_power(design_of(Size(3, 2, 4)), Assumptions(), GOAL)
    for effect in planned.effects:
        assert effect_curve(effect, GOAL, [0.0, 15.0]) == pytest.approx([0.05, effect.power], abs=1e-12)
    assert difference_curve(planned.hardest, GOAL, [0.0, 15.0]) == pytest.approx(
        [0.05, planned.hardest.power], abs=0.02
    )


@pytest.mark.parametrize("counts", [(0, 3, 4), (3, 0, 4), (3, 3, 0)])
def test_an_empty_trial_is_refused(counts: tuple[int, int, int]) -> None:
    """No gardens, blocks or heads make no trial."""
    with pytest.raises(WrongCall, match="must be 1 or more"):
        Size(*counts)


def test_negative_costs_are_refused() -> None:
    """Costs are at nought or above."""
    with pytest.raises(WrongCall):
        Costs(per_bucket=-1.0)

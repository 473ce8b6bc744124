"""Sizes near a trial, their cost, which change buys most, and why heads soon stop helping."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from trialkit.planning.enlargements import heads_limit, which_change_buys_most

from trialkit.documents.plan import Refusal
from trialkit.domain.errors import WrongCall
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.planned_power import Goal
from trialkit.planning.refusal import CannotBeJudged
from trialkit.planning.trial_sizes import TrialSize, difference_curve, judge_sizes, neighbouring_sizes, sensitivity

GOAL = Goal(15.0, {"cultivar": "Larkmoor Butter", "dose_tsp": 4.0})
COST_PER_BUCKET = 6.0


@pytest.fixture
def design_of(plans: Any) -> Any:
    """The factorial in complete blocks, of any size."""
    return plans.of_size(plans.factorial)


def test_costs_and_buckets_of_each_size(design_of: Any) -> None:
    """Eight treatments: buckets are gardens x blocks x 8, at 6 each."""
    sizes = [TrialSize(3, 2, 4), TrialSize(3, 3, 4), TrialSize(4, 2, 3)]
    for option in judge_sizes(sizes, design_of, Assumptions(), GOAL, COST_PER_BUCKET):
        assert option.buckets == option.size.sites * option.size.blocks * 8
        assert option.heads == option.buckets * option.size.heads
        assert option.cost == 6 * option.buckets
        assert option.power


def test_a_size_that_cannot_be_analysed_says_why(plans: Any) -> None:
    """One copy of each treatment in one garden: the grid goes on, and this size has a reason instead of a power."""
    sizes, goal = [TrialSize(1, 1, 1), TrialSize(1, 3, 1)], Goal(15.0, {"cultivar": "Fenleaf"})
    options = judge_sizes(sizes, plans.of_size(plans.cultivars), Assumptions(), goal, 0.0)
    assert options[0].power is None
    assert options[0].refused
    assert options[0].refused.code == "not analysable"
    assert options[0].refused.detail
    assert options[1].power


@given(st.builds(TrialSize, st.integers(1, 9), st.integers(1, 9), st.integers(1, 9)))
def test_neighbouring_sizes(size: TrialSize) -> None:
    """The trial itself is among the sizes near it, each once, in order, none below 1."""
    sizes = neighbouring_sizes(size)
    assert size in sizes
    assert list(sizes) == sorted(set(sizes))
    assert min(min(s.sites, s.blocks, s.heads) for s in sizes) >= 1


def test_what_each_change_takes_and_brings(design_of: Any) -> None:
    """Chance, interval and effort of each; heads cannot pass the bucket's own variance, 81 of 81 + 225 / 4."""
    advice = which_change_buys_most(TrialSize(3, 2, 4), design_of, Assumptions(), GOAL, COST_PER_BUCKET)
    gains = {gain.kind: gain for gain in advice.gains}
    assert set(gains) == {"sites", "blocks", "heads"}
    block = gains["blocks"]
    assert (block.added_buckets, block.added_heads, block.added_cost) == (24, 96, 144)
    assert advice.heads_limit.bucket_share == pytest.approx(81 / (81 + 225 / 4))
    assert all(gain.power > 0 and gain.half_width_g > 0 for gain in advice.gains)


def test_a_full_bucket_takes_no_more_heads(design_of: Any) -> None:
    """Where a bucket holds no more heads, another head is not proposed."""
    advice = which_change_buys_most(TrialSize(3, 2, 4), design_of, Assumptions(), GOAL, COST_PER_BUCKET, most_heads=4)
    assert {gain.kind for gain in advice.gains} == {"sites", "blocks"}


def test_what_costs_nothing_and_helps_comes_first(design_of: Any) -> None:
    """Heads that cost nothing go first; then, for the same money, a garden, which averages its own differences too."""
    advice = which_change_buys_most(TrialSize(4, 2, 4), design_of, Assumptions(), GOAL, COST_PER_BUCKET)
    assert [gain.kind for gain in advice.gains] == ["heads", "sites", "blocks"]
    assert advice.tells_more
    assert advice.priced


def test_without_costs_they_are_ranked_by_what_they_bring(design_of: Any) -> None:
    """No costs: the change that raises power most comes first."""
    advice = which_change_buys_most(TrialSize(3, 2, 4), design_of, Assumptions(), GOAL, 0.0)
    assert not advice.priced
    assert advice.gains[0].power == max(gain.power for gain in advice.gains)


def test_a_third_garden_widens_what_is_answered(design_of: Any) -> None:
    """Going from two gardens to three, effects that differ between gardens begin to count."""
    advice = which_change_buys_most(TrialSize(2, 3, 4), design_of, Assumptions(), GOAL, 0.0)
    third = next(gain for gain in advice.gains if gain.kind == "sites")
    assert third.widens_scope
    assert not any(gain.widens_scope for gain in advice.gains if gain is not third)


def test_a_trial_that_cannot_be_judged_gets_no_advice(plans: Any) -> None:
    """One copy in one garden: no change is compared, and none is said to help."""

    def refuse(*_: object) -> Any:
        raise CannotBeJudged(Refusal("not analysable"))

    design_of = plans.of_size(plans.cultivars)
    advice = which_change_buys_most(TrialSize(1, 1, 1), design_of, Assumptions(), GOAL, COST_PER_BUCKET, refuse)
    assert advice.gains == ()
    assert not advice.tells_more


@given(st.floats(1.0, 500.0), st.floats(1.0, 500.0), st.integers(1, 11))
def test_more_heads_leave_more_of_the_variance_to_the_bucket(bucket: float, head: float, heads: int) -> None:
    """The bucket's own share rises with each head and never reaches one."""
    assumed = Assumptions(bucket=bucket, head=head)
    few, many = heads_limit(assumed, heads).bucket_share, heads_limit(assumed, heads + 1).bucket_share
    assert 0 < few < many < 1


def test_half_and_double_variances(design_of: Any) -> None:
    """Half the variances raise power and double ones lower it; variances that the design lacks are left out."""
    design = design_of(TrialSize(3, 2, 4))
    base = expected_power(design, Assumptions(), GOAL).hardest.power
    others = sensitivity(design, Assumptions(), GOAL)
    assert {name for name, _ in others} == {"all", "site", "block", "site_by_factor", "bucket", "head"}
    for name in ("all", "site_by_factor", "bucket", "head"):
        assert others[name, 2.0].hardest.power < base < others[name, 0.5].hardest.power
    assert others["site", 2.0].hardest.power == pytest.approx(base, abs=1e-9)


def test_curves_pass_through_the_planned_power(design_of: Any) -> None:
    """At the margin a power curve shows the planned power, at no difference the level."""
    planned = expected_power(design_of(TrialSize(3, 2, 4)), Assumptions(), GOAL)
    assert difference_curve(planned.hardest, GOAL, [0.0, 15.0]) == pytest.approx(
        [0.05, planned.hardest.power], abs=0.02
    )


@pytest.mark.parametrize("counts", [(0, 3, 4), (3, 0, 4), (3, 3, 0)])
def test_an_empty_trial_is_refused(counts: tuple[int, int, int]) -> None:
    """No gardens, blocks or heads make no trial."""
    with pytest.raises(WrongCall, match="must be 1 or more"):
        TrialSize(*counts)

"""The whole plan: what it says agrees with its parts, and with hand."""

from itertools import pairwise

import pytest

from small_plan import small_plan
from trialkit.documents.document import as_text, from_text
from trialkit.documents.plan import Plan
from trialkit.planning.power import f_power


@pytest.fixture(scope="module")
def plan() -> Plan:
    """Three gardens x two blocks x four treatments, two heads a bucket."""
    return small_plan()


def test_counts(plan: Plan) -> None:
    """Buckets, heads and places on the benches agree."""
    assert (plan.buckets, plan.heads, plan.treatments) == (24, 48, 4)
    assert sum(len(bench.places) for bench in plan.benches) == 24
    assert [bench.name for bench in plan.benches] == ["East End School", "Old Mill Library", "Pond Lane Allotments"]


def test_power_of_a_main_effect_by_hand(plan: Plan) -> None:
    """A cultivar is tested against its difference between gardens: 1 and 2 d.f.

    The difference of two means over 3 gardens has variance 2 (9 + (81 + 225 / 2) / 4) / 3 g^2: 4 buckets of each
    cultivar in a garden, 2 heads in each; non-centrality is the squared margin over it.
    """
    effect = next(row for row in plan.effects if row.effect == "cultivar")
    variance = 2 * (9 + (81 + 225 / 2) / 4) / 3
    assert effect.denominator_df == pytest.approx(2)
    assert effect.power == pytest.approx(f_power(10**2 / variance, 1, 2, 0.05), rel=1e-6)


def test_the_size_asked_for_is_among_the_sizes(plan: Plan) -> None:
    """The grid holds the trial itself, once, with the same numbers."""
    (own,) = [row for row in plan.sizes if row.is_asked]
    assert (own.sites, own.blocks, own.heads, own.buckets) == (3, 2, 2, 24)
    assert own.power == pytest.approx(plan.difference.power)
    assert len(plan.sizes) == 27


def test_more_of_anything_never_tells_less(plan: Plan) -> None:
    """Power does not fall from one size to another that has as much of everything; 1 point is left for few d.f."""
    rows = [row for row in plan.sizes if row.power is not None and row.sites >= 3]
    for small in rows:
        for large in rows:
            if all(getattr(small, key) <= getattr(large, key) for key in ("sites", "blocks", "heads")):
                assert large.power >= small.power - 0.01


def test_curves_pass_the_margin(plan: Plan) -> None:
    """Curves start at the level and rise; half the variance lies above, double below."""
    assumed, half, double = plan.curves
    assert assumed.power[0] == pytest.approx(plan.level, abs=1e-6)
    assert all(after >= before - 1e-9 for before, after in pairwise(assumed.power))
    assert all(h >= a >= d - 1e-9 for h, a, d in zip(half.power, assumed.power, double.power, strict=True))


def test_the_plan_is_read_back_as_it_was_written(plan: Plan) -> None:
    """It is written as JSON, without a number that JSON has not, and reading that gives the same plan."""
    assert from_text(Plan, as_text(plan)) == plan


def test_a_trial_that_is_too_small_has_what_it_would_take(plan: Plan) -> None:
    """Below the power wanted there is a size that has it, and what the practice's buckets bring where they help."""
    assert plan.difference.power < plan.power_wanted
    assert plan.larger
    assert any(size.count for size in plan.larger.sizes)
    assert plan.advice.practice
    assert plan.advice.practice.power_after > plan.advice.practice.power_before

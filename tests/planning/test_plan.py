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


def test_the_trial_asked_for_is_the_first_design(plan: Plan) -> None:
    """Once, with the numbers of the plan; the others by their value."""
    own, *others = plan.designs
    assert [row.kind for row in plan.designs].count("asked") == 1
    assert (own.kind, own.sites, own.blocks, own.heads, own.buckets) == ("asked", 3, 2, 2, 24)
    assert own.power == pytest.approx(plan.difference.power)
    assert own.value_g == plan.value.asked.value_g
    assert [row.value_g for row in others] == sorted((row.value_g for row in others), reverse=True)


def test_more_of_anything_never_tells_less(plan: Plan) -> None:
    """Power does not fall from one size to another that has as much of everything; 1 point is left for few d.f."""
    rows = [row for row in plan.designs if row.power is not None and row.sites >= 3]
    assert len(rows) > 3
    for small in rows:
        for large in rows:
            if all(getattr(small, key) <= getattr(large, key) for key in ("sites", "blocks", "heads")):
                assert (large.power or 0.0) >= (small.power or 0.0) - 0.01


def test_curves_pass_the_margin(plan: Plan) -> None:
    """Curves start at the level and rise; half the variance lies above, double below."""
    assumed, half, double = plan.curves
    assert assumed.power[0] == pytest.approx(plan.level, abs=1e-6)
    assert all(after >= before - 1e-9 for before, after in pairwise(assumed.power))
    assert all(h >= a >= d - 1e-9 for h, a, d in zip(half.power, assumed.power, double.power, strict=True))


def test_the_plan_is_read_back_as_it_was_written(plan: Plan) -> None:
    """It is written as JSON, without a number that JSON has not, and reading that gives the same plan."""
    assert from_text(Plan, as_text(plan)) == plan

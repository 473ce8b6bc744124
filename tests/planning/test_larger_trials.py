"""Larger trials that have the power wanted."""

from dataclasses import replace
from typing import Any

import pytest

from trialkit.documents.plan import Refusal
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.larger_trials import MOST_SITES, sufficient_sizes
from trialkit.planning.planned_design import PlannedDesign
from trialkit.planning.planned_power import Goal, PlannedPower
from trialkit.planning.refusal import CannotBeJudged
from trialkit.planning.trial_sizes import TrialSize, judged_once

GOAL = Goal(10.0, {"cultivar": "Fenleaf"})
SMALL = TrialSize(2, 2, 2)


@pytest.fixture
def design_of(plans: Any) -> Any:
    """Four cultivars in complete blocks, of any size."""
    return plans.of_size(plans.cultivars)


def test_the_smallest_trial_with_the_power_wanted(design_of: Any) -> None:
    """Sizes walked through one by one agree with the bisection; one garden less has less."""
    assumptions = Assumptions()

    def power(size: TrialSize) -> float:
        return expected_power(design_of(size), assumptions, GOAL).hardest.power

    found = {size.kind: size for size in sufficient_sizes(SMALL, design_of, assumptions, GOAL, expected_power).sizes}
    walked = next(n for n in range(3, MOST_SITES + 1) if power(replace(SMALL, sites=n)) >= GOAL.power)
    assert found["sites"].count == walked
    assert found["sites"].buckets == walked * 2 * 4
    blocks = found["blocks"]
    if blocks.count:
        assert power(replace(SMALL, blocks=blocks.count)) >= GOAL.power
        assert power(replace(SMALL, blocks=blocks.count - 1)) < GOAL.power
    else:
        assert power(replace(SMALL, blocks=blocks.largest)) < GOAL.power


def test_a_margin_that_is_too_small(design_of: Any) -> None:
    """Half a gram: nothing that is looked at finds it, and what was looked at is told."""
    found = sufficient_sizes(SMALL, design_of, Assumptions(), replace(GOAL, margin_g=0.5), expected_power)
    assert [(size.count, size.largest) for size in found.sizes] == [(None, 24), (None, 16)]
    assert found.most_buckets == 1000


def test_a_size_that_cannot_be_judged_is_not_enough(design_of: Any) -> None:
    """Where the smaller sizes have no error degrees of freedom, the search goes on above them."""

    def judge(design: PlannedDesign, assumptions: Assumptions, goal: Goal) -> PlannedPower:
        if design.buckets < 40:
            raise CannotBeJudged(Refusal("not analysable"))
        return expected_power(design, assumptions, replace(goal, margin_g=200.0))

    sites, _ = sufficient_sizes(SMALL, design_of, Assumptions(), GOAL, judge).sizes
    assert sites.count == 5


def test_each_design_is_judged_once(design_of: Any) -> None:
    """A second question about the same design is answered from memory; another design is another question."""
    asked = []

    def judge(design: PlannedDesign, assumptions: Assumptions, goal: Goal) -> PlannedPower:
        asked.append(design)
        return expected_power(design, assumptions, goal)

    judged, one, two = judged_once(judge), design_of(SMALL), design_of(SMALL)
    answers = [judged(design, Assumptions(), GOAL) for design in (one, two, one)]
    assert [id(design) for design in asked] == [id(one), id(two)]
    assert answers[0] is answers[2]

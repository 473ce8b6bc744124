"""Larger trials that would reach the power wanted, and more buckets of the current practice."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from trialkit.domain.errors import NotComputed
from trialkit.planning.around import MOST_SITES, Reach, practice_sentence, reach_sentence, reaching, remembering
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.design import Design
from trialkit.planning.exact import expected_power
from trialkit.planning.grid import Size
from trialkit.planning.outcome import Goal, PlannedPower

GOAL = Goal(10.0, {"cultivar": "Fenleaf"})
SMALL = Size(2, 2, 2)


@pytest.fixture
def design_of(plans: Any) -> Any:
    """Four cultivars in complete blocks, of any size."""
    return lambda size: plans.blocks(size.sites, size.blocks, size.heads)


def test_the_smallest_trial_that_reaches_the_power(design_of: Any) -> None:
    """Sizes walked through one by one agree with the bisection; one garden less does not reach it."""
    assumptions = Assumptions()

    def power(size: Size) -> float:
        return expected_power(design_of(size), assumptions, GOAL).hardest.power

    found = {reach.kind: reach for reach in reaching(SMALL, design_of, assumptions, GOAL, expected_power)}
    walked = next(n for n in range(3, MOST_SITES + 1) if power(replace(SMALL, sites=n)) >= GOAL.power)
    assert found["sites"].size == replace(SMALL, sites=walked)
    assert found["sites"].buckets == walked * 2 * 4
    blocks = found["blocks"]
    if blocks.size:
        assert power(blocks.size) >= GOAL.power > power(replace(blocks.size, blocks=blocks.size.blocks - 1))
    else:
        assert power(replace(SMALL, blocks=blocks.largest)) < GOAL.power


def test_a_margin_out_of_reach(design_of: Any) -> None:
    """Half a gram: nothing that is looked at finds it, and the sentence says what was looked at and what helps."""
    goal = replace(GOAL, margin_g=0.5)
    reaches = reaching(SMALL, design_of, Assumptions(), goal, expected_power)
    assert [reach.size for reach in reaches] == [None, None]
    assert reach_sentence(reaches, goal, "blocks") == (
        "No trial of this kind with up to 1000 buckets has a chance of 80 % of finding 0.5 g, not even with 24 gardens "
        "or 16 blocks in each: ask for a larger margin, or try fewer treatments at once."
    )


def test_what_it_would_take_in_words() -> None:
    """Gardens and volunteers, each with its buckets; one that does not reach it is left out."""
    sites, blocks = Reach("sites", Size(19, 3, 4), 171, 24), Reach("blocks", Size(8, 9, 4), 216, 16)
    goal = replace(GOAL, margin_g=12.5)
    assert reach_sentence((sites, blocks), goal, "volunteers") == (
        "For a chance of 80 % of finding 12.5 g it would take about 19 gardens (171 buckets), or 9 volunteers in each "
        "garden (216 buckets), all else alike."
    )
    assert "or" not in reach_sentence((replace(sites, size=None), blocks), goal, "v").split("about")[1].split()


def test_a_size_that_cannot_be_judged_does_not_reach(design_of: Any) -> None:
    """Where the smaller sizes have no error degrees of freedom, the search goes on above them."""

    def judge(design: Design, assumptions: Assumptions, goal: Goal) -> PlannedPower:
        if design.buckets < 40:
            raise NotComputed("too small")
        return expected_power(design, assumptions, replace(goal, margin_g=200.0))

    sites, _ = reaching(SMALL, design_of, Assumptions(), GOAL, judge)
    assert sites.size == Size(5, 2, 2)


def test_more_buckets_of_the_current_practice_in_words(plans: Any, design_of: Any) -> None:
    """The sentence's chances are those of the two designs, and its buckets their difference."""
    before = expected_power(design_of(Size(3, 2, 2)), Assumptions(), GOAL)
    levels = {"cultivar": ["Copperfrill", "Fenleaf", "Fenleaf", "Larkmoor Butter", "Mossridge"]}
    design = plans.blocks(3, 2, 2, levels)
    after = expected_power(design, Assumptions(), GOAL)
    assert after.hardest.power > before.hardest.power
    sentence = practice_sentence(2, before, after)
    assert sentence.startswith("2 buckets of the current practice for each one of another treatment")
    assert "6 more buckets" in sentence
    assert f"from about {100 * before.hardest.power:.0f} % to {100 * after.hardest.power:.0f} %." in sentence


def test_each_design_is_judged_once(design_of: Any) -> None:
    """A second question about the same design is answered from memory; another design is another question."""
    asked = []

    def judge(design: Design, assumptions: Assumptions, goal: Goal) -> PlannedPower:
        asked.append(design)
        return expected_power(design, assumptions, goal)

    remembered, one, two = remembering(judge), design_of(SMALL), design_of(SMALL)
    answers = [remembered(design, Assumptions(), GOAL) for design in (one, two, one)]
    assert [id(design) for design in asked] == [id(one), id(two)]
    assert answers[0] is answers[2]

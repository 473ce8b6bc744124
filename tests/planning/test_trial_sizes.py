"""Sizes near a trial, and what the hardest comparison can tell if things vary otherwise."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.domain.errors import WrongCall
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.planned_power import Goal
from trialkit.planning.trial_sizes import TrialSize, difference_curve, neighbouring_sizes, sensitivity

GOAL = Goal(15.0, {"cultivar": "Larkmoor Butter", "dose_tsp": 4.0})


@pytest.fixture
def design_of(plans: Any) -> Any:
    """The factorial in complete blocks, of any size."""
    return plans.of_size(plans.factorial)


@given(st.builds(TrialSize, st.integers(1, 9), st.integers(1, 9), st.integers(1, 9)))
def test_neighbouring_sizes(size: TrialSize) -> None:
    """The trial itself is among the sizes near it, each once, in order, none below 1."""
    sizes = neighbouring_sizes(size)
    assert size in sizes
    assert list(sizes) == sorted(set(sizes))
    assert min(min(s.sites, s.blocks, s.heads) for s in sizes) >= 1


def test_half_and_double_variances(design_of: Any) -> None:
    """Half the variances raise power and double ones lower it; variances that the design lacks are left out."""
    design = design_of(TrialSize(3, 2, 4))
    base = expected_power(design, Assumptions(), GOAL).hardest.power
    others = sensitivity(design, Assumptions(), GOAL)
    assert {name for name, _ in others} == {"all", "site", "block", "site_by_factor", "bucket", "head"}
    for name in ("all", "site_by_factor", "bucket", "head"):
        assert others[name, 2.0].power < base < others[name, 0.5].power
    assert others["site", 2.0].power == pytest.approx(base, abs=1e-9)


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

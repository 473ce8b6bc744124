"""What a treatment gains garden by garden, in words."""

from __future__ import annotations

import pytest

from trialkit.documents.findings import Exploration, Gardens, Interval, SiteDifference
from trialkit.domain.treatment import Treatment
from trialkit.words.garden_words import exploration_sentence, gardens_sentence


@pytest.mark.parametrize(
    ("gains", "sentence"),
    [
        ([5.0], "Only one garden has both Fenleaf and the current practice."),
        (
            [5.0, 9.25],
            "At every one of 2 gardens Fenleaf was ahead of the current practice (5 to 9.25 g); single gardens are "
            "known poorly.",
        ),
        (
            [-5.0, -9.0],
            "At every one of 2 gardens Fenleaf was behind the current practice (-9 to -5 g); single gardens are known "
            "poorly.",
        ),
        (
            [5.0, -3.0, 2.0],
            "What holds on average does not hold everywhere: Fenleaf was ahead of the current practice at 2 of 3 "
            "gardens (-3 to 5 g). With few buckets a garden, some of that is luck.",
        ),
    ],
)
def test_what_holds_everywhere(gains: list[float], sentence: str) -> None:
    """At every garden, at some, or at the only one."""
    found = tuple(SiteDifference(f"s{i}", gain, 2, 2) for i, gain in enumerate(gains))
    assert gardens_sentence(Gardens(Treatment("Fenleaf"), found, ()), "g") == sentence


def test_an_exploration_is_never_a_reason() -> None:
    """More with harder water, less with more sun."""
    line = Exploration("alkalinity_mg_l_caco3", 100.0, Interval(3.2, -1.0, 7.4), 0.09, 5)
    assert exploration_sentence(line, "g") == (
        "An exploration: the gain was 3.2 g more for each 100 mg/L of alkalinity (-1 to 7.4; p = 0.09; 5 gardens). "
        "Gardens were not given their alkalinity at random: this can be an idea for a trial, never a reason."
    )
    sun = Exploration("sun_hours", 1.0, Interval(-3.2, -7.4, 1.0), 0.09, 5)
    assert exploration_sentence(sun, "g").startswith("An exploration: the gain was 3.2 g less for each hour of sun (")

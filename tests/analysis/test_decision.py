"""The four verdicts, from candidates whose draws are known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from trialkit.analysis.answer import Comparison, Decision
from trialkit.analysis.decision import Evidence, Thresholds, Worth, judge

TREATMENTS = [{"cultivar": "Fenleaf", "dose_tsp": dose} for dose in (2.0, 4.0, 6.0)]
EVIDENCE = Evidence(buckets=48, sites=4, season="autumn 2026")


def decide(means: list[float], sd: float, current: int = 1, **changes: Any) -> Decision:
    """Judge candidates with independent normal draws around `means`, in grams a head."""
    rng = np.random.default_rng(5)
    draws = np.array(means) + sd * rng.standard_normal((20_000, 3))
    options: dict[str, Any] = {
        "margin_g": 10.0,
        "equivalence_margin_g": 10.0,
        "adopt_probability": 0.9,
        "confidence": 0.95,
        "price_per_kg": None,
        "cost_per_bucket": 0.0,
        "delay_cost_per_day": 0.0,
    }
    options |= changes
    comparisons = [
        Comparison(t, m - means[current], sd, 20.0, m - means[current] - 2 * sd, m - means[current] + 2 * sd, 0.5)
        for i, (t, m) in enumerate(zip(TREATMENTS, means, strict=True))
        if i != current
    ]
    lost = options.pop("lost", [0.0, 0.0, 0.0])
    worth = Worth("g a head", 1.0, np.zeros(3), np.array([2.0, 4.0, 6.0]))
    return judge(draws, TREATMENTS, current, worth, Thresholds(**options), comparisons, lost, EVIDENCE)


def test_adopt() -> None:
    """A candidate that is surely better by the margin is adopted, with its interval and its chance."""
    decision = decide([80, 100, 140], 5)
    assert decision.verdict == "adopt"
    assert decision.recommended == TREATMENTS[2]
    assert "40 g more" in decision.sentences[0]
    assert "30 to 50 g" in decision.sentences[0]
    assert "more than 99 in 100" in decision.sentences[1]


def test_keep_current() -> None:
    """Where nothing gains the margin and nothing cheaper is surely alike, the practice stays."""
    decision = decide([60, 100, 95], 3)
    assert decision.verdict == "keep current"
    assert decision.recommended == TREATMENTS[1]


def test_take_the_cheaper() -> None:
    """A smaller dose that surely does as well is taken."""
    decision = decide([100, 100, 95], 2)
    assert decision.verdict == "no practical difference: take the cheaper"
    assert decision.recommended == TREATMENTS[0]


def test_retest() -> None:
    """A candidate that looks better but not surely is not adopted: the trial has not settled it."""
    decision = decide([80, 100, 112], 12)
    assert decision.verdict == "keep current, retest"
    assert decision.recommended == TREATMENTS[1]
    assert "not settled" in decision.sentences[0]


def test_best_mean_alone_is_never_enough() -> None:
    """The largest mean is not recommended when its advantage is within the margin."""
    assert decide([90, 100, 108], 1).recommended == TREATMENTS[1]


def test_interval_must_exclude_a_loss() -> None:
    """A candidate picked from several is not adopted while its simultaneous interval includes no gain."""
    decision = decide([80, 100, 122], 12, margin_g=0.0)
    assert decision.candidates[2].probability_better > 0.9
    assert decision.verdict == "keep current, retest"
    assert "does not exclude a loss" in decision.sentences[1]


def test_a_treatment_that_kills_is_not_recommended() -> None:
    """A candidate that lost many more heads than the practice is passed over, and the page says so."""
    decision = decide([80, 100, 140], 5, lost=[0.0, 0.05, 0.75])
    assert decision.verdict == "keep current"
    assert not decision.candidates[2].eligible
    assert any("lost 75% of its heads" in line for line in decision.scope)


def test_every_alternative_lost() -> None:
    """Where all alternatives lost their heads, the practice stays and no chance is claimed."""
    decision = decide([120, 100, 140], 5, lost=[0.5, 0.0, 0.75])
    assert decision.recommended == TREATMENTS[1]
    assert decision.verdict == "keep current, retest"
    assert "lost many more" in decision.sentences[0]


def test_probabilities_add_up() -> None:
    """Chances of being best add to one, and the best candidate has the smallest expected loss."""
    decision = decide([80, 100, 112], 12)
    assert sum(c.probability_best for c in decision.candidates) == pytest.approx(1)
    losses = [c.expected_loss for c in decision.candidates]
    assert losses.index(min(losses)) == 2
    assert all(loss >= 0 for loss in losses)


def test_stricter_protocol_asks_for_more() -> None:
    """A larger margin or a higher probability turns an adoption into a retest."""
    assert decide([80, 100, 125], 6).verdict == "adopt"
    assert decide([80, 100, 125], 6, adopt_probability=0.99).verdict == "keep current, retest"
    assert decide([80, 100, 125], 6, margin_g=24.0).verdict == "keep current, retest"

"""The worked example of reports/barley.md is what the model says of the plots, and what its sentences claim is so."""

from pathlib import Path

import pytest

from advice_data import expected
from barley_page import BOTH, FIRST, G_PER_BUSHEL, PRACTICE, answered, away_from_chain, candidates, familiar, page
from published import differences
from trialkit.documents.decision import Verdict

KEPT = Path(__file__).parents[2] / "reports" / "barley.md"


def test_the_page_is_current() -> None:
    """Python tests/support/barley_page.py writes it anew; the last figure of a number is let pass."""
    assert differences(page(), KEPT.read_text("utf-8")) == []


@pytest.mark.parametrize(("name", "years"), [("1931", FIRST), ("both", BOTH)])
def test_the_usual_mixed_model_is_that_of_lme4(name: str, years: tuple[str, ...]) -> None:
    """Each standard deviation of both to five figures: that of years hardly moves the likelihood, where R stops."""
    theirs = expected("barley_reml")[name]["variance"]
    named = {"Residual": "residual"}
    for term, variance in theirs.items():
        assert familiar(years)[named.get(term, term)] * G_PER_BUSHEL == pytest.approx(variance**0.5, rel=1e-5)


def test_what_the_sentences_say() -> None:
    """Trebi after each year, unsettled; Wisconsin No. 38 beside it; the third falls back; as printed or exchanged."""
    first, both, exchanged = answered(FIRST).decision, answered(BOTH).decision, answered(BOTH, True).decision
    for decision in (first, both, exchanged):
        assert decision.verdict is Verdict.CHANGE_AND_TEST
        assert decision.recommended.cultivar == "Trebi"
    before, after = candidates(FIRST), candidates(BOTH)
    assert after["Trebi"].weight_g == pytest.approx(after["Wisconsin No. 38"].weight_g, abs=0.5)
    assert 0.4 < before["No. 457"].probability_near_best < 0.6
    assert after["No. 457"].probability_near_best < 0.3
    gain, better = after["Trebi"].gain, after["Trebi"].probability_better
    assert gain is not None
    assert better is not None
    assert gain.lower > 0
    assert better < 0.975
    assert not after[PRACTICE].is_recommended


def test_the_chain_agrees() -> None:
    """Gains within 1 % of their standard deviations, and these within 2 %."""
    of_means, of_sds = away_from_chain()
    assert of_means < 1
    assert of_sds < 2

"""The four verdicts, from candidates whose draws are known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from trialkit.analysis.decision import simultaneous_limits
from trialkit.analysis.draws import draw_means

from small_decision import EVIDENCE, IN_MONEY, LESS_NUTRIENT, NO_SAVING, TREATMENTS, decide
from trialkit.analysis.recorded_responses import YIELD, bucket_yields
from trialkit.documents.document import as_written
from trialkit.documents.findings import Evidence, Interval, Place, Verdict
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit, fit_mixed


def test_adopt() -> None:
    """A candidate that is surely better by the margin is adopted, with its interval and its chance."""
    decision = decide([80, 100, 140], 5)
    assert decision.verdict is Verdict.ADOPT
    assert decision.recommended == decision.alternative == TREATMENTS[2]
    assert decision.gain_g == Interval(40, 30, 50)
    assert decision.excludes_loss
    assert (decision.candidate(TREATMENTS[2]).probability_better or 0.0) > 0.99


def test_keep_current() -> None:
    """Where nothing gains the margin and nothing cheaper is surely alike, the practice stays."""
    decision = decide([60, 100, 95], 3)
    assert decision.verdict is Verdict.KEEP
    assert decision.recommended == TREATMENTS[1]
    assert decision.next_trial is None


def test_take_the_cheaper() -> None:
    """A smaller dose that surely does as well is taken, and why it is cheaper is known."""
    decision = decide([100, 100, 95], 2)
    assert decision.verdict is Verdict.TAKE_CHEAPER
    assert decision.recommended == TREATMENTS[0]
    assert decision.saving == "nutrient"


def test_a_cheaper_one_must_be_known_to_be_cheaper() -> None:
    """Where nothing surely saves, as good as the current practice is no reason to change."""
    decision = decide([100, 100, 95], 2, worth=NO_SAVING)
    assert decision.verdict is Verdict.KEEP
    assert decision.saving is None


def test_retest() -> None:
    """A candidate that looks better but not surely is not adopted: the trial has not settled it."""
    decision = decide([80, 100, 112], 12)
    assert decision.verdict is Verdict.RETEST
    assert decision.recommended == TREATMENTS[1]
    assert decision.alternative == TREATMENTS[2]
    assert decision.next_trial is not None
    assert decision.next_trial.buckets > 32


def test_a_decision_is_read_as_it_was_written() -> None:
    """Verdict, places and treatments come back as what they were."""
    decision = as_written(decide([80, 100, 112], 12))
    assert decision.verdict is Verdict.RETEST
    assert decision.alternative == TREATMENTS[2]
    assert as_written(decision) == decision


def test_best_mean_alone_is_never_enough() -> None:
    """The largest mean is not recommended when its advantage is within the margin."""
    assert decide([90, 100, 108], 1).recommended == TREATMENTS[1]


def test_interval_must_exclude_a_loss() -> None:
    """A candidate picked from several is not adopted while its simultaneous interval includes no gain."""
    decision = decide([80, 100, 122], 12, margin_g=0.0)
    assert (decision.candidates[2].probability_better or 0.0) > 0.9
    assert decision.verdict is Verdict.RETEST
    assert not decision.excludes_loss


def test_heads_that_did_not_come_through_count_as_nothing() -> None:
    """Heavier survivors do not make up for lost heads: 134 g of four heads in five is less than 120 g of all."""
    lost = pd.DataFrame({"bucket": list("aaaaabbbbb"), "outcome": ["harvested"] * 4 + ["dead"] + ["harvested"] * 5})
    lost["weight_g"] = [134.0] * 4 + [np.nan] + [120.0] * 5
    lost["marketable"] = pd.array([True] * 10, dtype="boolean")
    yields = bucket_yields(pd.DataFrame({"bucket": ["a", "b"], "site": "s1"}), lost, 5).buckets.set_index("bucket")[
        YIELD
    ]
    assert yields["a"] == pytest.approx(4 * 134)
    decision = decide([yields["a"] / 5, yields["b"] / 5, 100], 2)
    assert decision.recommended == TREATMENTS[1]
    assert decision.candidates[0].expected_value == pytest.approx(134 * 0.8, abs=0.1)
    assert decision.candidates[0].yield_g == pytest.approx(134 * 0.8, abs=0.1)


def test_a_practice_that_fails_is_given_up() -> None:
    """Where the current practice's heads cannot be eaten, one that gives any is adopted."""
    assert decide([120, 12, 100], 2, usable=(1.0, 0.1, 1.0)).verdict is Verdict.ADOPT


@pytest.mark.parametrize("missing", [(0.5, 0.0, 0.0), (0.0, 0.5, 0.5)])
def test_records_that_cannot_be_compared(missing: tuple[float, ...]) -> None:
    """A candidate with much more, or less, complete records than the practice has no chances."""
    decision = decide([140, 100, 80], 5, unrecorded=missing)
    first = decision.candidates[0]
    assert decision.recommended == TREATMENTS[1]
    assert not first.eligible
    assert (first.probability_best, first.probability_better, first.expected_loss) == (None, None, None)
    assert sum(c.probability_best or 0.0 for c in decision.candidates) == pytest.approx(1)


def test_no_alternative_has_records() -> None:
    """Where no alternative's records can be compared, the practice stays and no chance is claimed."""
    decision = decide([120, 100, 140], 5, unrecorded=(0.5, 0.0, 0.75))
    assert decision.verdict is Verdict.RETEST
    assert decision.alternative is None
    assert (decision.gain_g, decision.excludes_loss, decision.next_trial) == (None, False, None)


def test_a_sure_second_is_adopted() -> None:
    """The candidate of greatest mean may be unsure while another is sure: the sure one is adopted."""
    decision = decide([150, 100, 160], [4, 4, 80])
    assert decision.verdict is Verdict.ADOPT
    assert decision.recommended == TREATMENTS[0]


def test_the_practice_may_lead() -> None:
    """Where the current practice has the greatest mean, another is the alternative."""
    decision = decide([92, 100, 95], 3)
    assert decision.verdict is Verdict.KEEP
    assert decision.alternative == TREATMENTS[2]


@pytest.mark.parametrize(
    ("evidence", "place"),
    [
        (Evidence(12, 1), "this_garden"),
        (Evidence(12, 2), "these_gardens"),
        (Evidence(12, 3), "new_garden"),
        (Evidence(12, 3, confounded=True), "average_garden"),
    ],
)
def test_no_chance_reaches_beyond_the_gardens(evidence: Evidence, place: Place) -> None:
    """Chances are for the place that the trial can speak of, and for no other."""
    assert decide([80, 100, 140], 3, evidence=evidence).place == place


def test_waiting_weighs_in_money() -> None:
    """With a price and a cost of waiting, a heavier head that takes much longer is worth less."""
    days = [40.0, 40.0, 45.0]
    assert decide([80, 100, 140], 5, worth=IN_MONEY, price_per_kg=10.0, days=days).verdict is Verdict.ADOPT
    waiting = replace(IN_MONEY, per_day=0.5)
    decision = decide([80, 100, 140], 5, worth=waiting, days=days, price_per_kg=10.0)
    assert decision.recommended == TREATMENTS[1]
    assert decision.candidates[2].expected_value == pytest.approx(140 * 0.04 - 45 * 0.5, abs=0.01)
    assert decision.unit == "currency a bucket"


def test_a_gain_that_is_not_of_weight() -> None:
    """A lighter head that is ready a fortnight sooner is adopted where waiting costs more."""
    worth = replace(IN_MONEY, per_day=0.1)
    decision = decide([80, 100, 96], 1, worth=worth, days=[40.0, 40.0, 26.0], price_per_kg=10.0)
    assert decision.verdict is Verdict.ADOPT
    assert decision.gain_g == Interval(-4, -6, -2)
    assert decision.days_later == Interval(-14, -15, -13)


def test_the_cheapest_of_the_cheaper_is_taken() -> None:
    """Of two that save, the one that saves more."""
    both = replace(LESS_NUTRIENT, saves=np.array([True, True, False]))
    assert decide([100, 100, 100], 2, current=2, worth=both).recommended == TREATMENTS[0]


def test_the_best_of_the_sure_is_adopted() -> None:
    """Of two that are surely better, the one of greatest expected value."""
    assert decide([130, 100, 140], 3).recommended == TREATMENTS[2]
    assert decide([140, 100, 130], 3).recommended == TREATMENTS[0]


def test_what_a_decision_rests_on_is_kept() -> None:
    """Treatments without a record, and costs that are not known, are told."""
    evidence = replace(EVIDENCE, unrecorded=(Treatment("Mossridge"),))
    decision = decide([80, 100, 140], 5, evidence=evidence, worth=replace(LESS_NUTRIENT, uncounted=("acid",)))
    assert decision.evidence == evidence
    assert decision.uncounted == ("acid",)


def test_simultaneous_limits_are_dunnetts() -> None:
    """Limits from draws of a joint t have Dunnett's critical value.

    Two-sided, 5 %, three comparisons with a control at correlation one half, 12 d.f.: 2.68 (Dunnett 1964, Biometrics
    20, 482-491, table II, from memory). Scaled by the median absolute deviation, .6955 of the standard error at 12 d.f.
    """
    rng = np.random.default_rng(2)
    means = rng.standard_normal((200_000, 4)) * np.sqrt(12 / rng.chisquare(12, 200_000))[:, None]
    gain = means - means[:, [0]]
    lower = simultaneous_limits(gain, 0, 0.95)[0]
    assert lower[0] == 0.0
    assert -lower[1:] / np.sqrt(2) == pytest.approx([2.68] * 3, abs=0.04)


def random_fit(sd_between: float) -> MixedFit:
    """Fit six gardens x two blocks x three doses with a garden-by-dose spread."""
    rng = np.random.default_rng(8)
    rows = pd.MultiIndex.from_product([range(6), range(2), ["t1", "t2", "t3"]], names=["site", "block", "treatment"])
    data = rows.to_frame(index=False)
    data["dose_tsp"] = data["treatment"]
    between = sd_between * rng.standard_normal((6, 3))
    data["y"] = 100 + rng.standard_normal(36) + between[data["site"], data["treatment"].str[1].astype(int) - 1]
    return fit_mixed(data, "y ~ treatment", ["site", "site:block", "site:dose_tsp"])


def test_draws_have_the_moments_of_the_fit() -> None:
    """Draws have exactly the fit's means and, at a new garden, its covariance plus the garden-by-dose variance.

    The covariance of a multivariate t is that of its normal times df / (df - 2) (Kotz & Nadarajah 2004, ch. 1, from
    memory). Monte-Carlo bound: five standard errors of a variance over 10,000 draws and their mirror images, a fifth
    more for the tails of t.
    """
    fit, df = random_fit(5.0), 30.0
    shares = pd.DataFrame({"dose_tsp": ["t1", "t2", "t3"]}, index=["t1", "t2", "t3"])
    draws = draw_means(fit, shares, df, seed=1).garden
    own = fit.variances["site:dose_tsp"]
    assert own > 1.0
    expected = fit.mean_covariance("treatment").to_numpy() * df / (df - 2) + own * np.eye(3)
    np.testing.assert_allclose(draws.mean(0), fit.means("treatment")["mean"].to_numpy(), rtol=1e-12)
    assert np.abs(np.cov(draws.T) - expected).max() < 5 * np.sqrt(4 / len(draws)) * 1.2 * expected.max()


def test_candidates_that_share_a_level_share_its_luck() -> None:
    """What a garden adds to a dose it adds to every candidate of that dose."""
    fit = random_fit(5.0)
    shares = pd.DataFrame({"dose_tsp": ["same", "same", "other"]}, index=["t1", "t2", "t3"])
    draws = draw_means(fit, shares, 30.0, seed=1).garden
    gaps = np.var(draws[:, 0] - draws[:, 1]), np.var(draws[:, 0] - draws[:, 2])
    assert gaps[1] - gaps[0] == pytest.approx(2 * fit.variances["site:dose_tsp"], rel=0.2)


def test_draws_repeat() -> None:
    """The same seed gives the same draws, another seed others."""
    fit = random_fit(1.0)
    shares = pd.DataFrame({"dose_tsp": ["t1", "t2", "t3"]}, index=["t1", "t2", "t3"])
    one, two, other = (draw_means(fit, shares, 30.0, seed).average for seed in (1, 1, 2))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


def test_average_draws_leave_the_new_garden_out() -> None:
    """Draws of the average over gardens have the fit's own covariance, heavy tails and all."""
    fit, df = random_fit(5.0), 5.0
    shares = pd.DataFrame({"dose_tsp": ["t1", "t2", "t3"]}, index=["t1", "t2", "t3"])
    gap = np.diff(draw_means(fit, shares, df, seed=1).average[:, :2]).ravel()
    row = fit.compare("treatment", "versus", reference="t1", adjust="none").iloc[0]
    assert np.quantile(gap, [0.025, 0.5, 0.975]) == pytest.approx(
        row["estimate"] + row["se"] * np.array([-2.5706, 0.0, 2.5706]), abs=0.15 * row["se"]
    )  # Student's t, 5 d.f., 97.5 % point 2.571 (any table)


def test_probabilities_add_up() -> None:
    """Chances of being best add to one, and the best candidate has the smallest expected loss."""
    decision = decide([80, 100, 112], 12)
    assert sum(c.probability_best or 0.0 for c in decision.candidates) == pytest.approx(1)
    losses = [c.expected_loss or 0.0 for c in decision.candidates]
    assert losses.index(min(losses)) == 2
    assert all(loss >= 0 for loss in losses)


def test_stricter_protocol_asks_for_more() -> None:
    """A larger margin or a higher probability turns an adoption into a retest."""
    assert decide([80, 100, 125], 6).verdict == Verdict.ADOPT
    assert decide([80, 100, 125], 6, adopt_probability=0.99).verdict == Verdict.RETEST
    assert decide([80, 100, 125], 6, margin_g=24.0).verdict == Verdict.RETEST

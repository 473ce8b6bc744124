"""How often a decision is wrong, over trials drawn with a seed."""

from functools import cache

import numpy as np
import pandas as pd
from scipy.stats import binom

from trialkit.analysis.decision import CandidateField, judge
from trialkit.analysis.derived_model import derive_model
from trialkit.analysis.draws import draw_means
from trialkit.analysis.response import Question, analyse_response
from trialkit.analysis.worth import Worth
from trialkit.documents.findings import Evidence, Thresholds, Verdict
from trialkit.domain.treatment import Treatment

TRIALS = 100
DOSES = (2.0, 4.0, 6.0)
TREATMENTS = pd.DataFrame({"dose_tsp": DOSES}, index=["t1", "t2", "t3"])
QUESTION = Question("weight_g", "g", TREATMENTS, "t1", 0.95, checked=False)
THRESHOLDS = Thresholds(0.0, 10.0, 0.9, 0.95, None, 0.0, 0.0)
WORTH = Worth("g per transplanted head", 1.0, np.zeros(3), 0.0, np.zeros(3, bool), np.zeros(3), "nutrient", ())


@cache
def trials(gardens: int, gain: float) -> list[tuple[Verdict, float, list[bool]]]:
    """Verdict, F test's p and whether each interval covers, of trials in which the last dose gains `gain` g.

    Gardens x 3 blocks x 3 doses x 2 heads; standard deviations 12 g between gardens, 3 g of a dose in a garden, 6 g
    between buckets, 12 g between heads.
    """
    rng = np.random.default_rng(20260820)
    index = pd.MultiIndex.from_product(
        [range(gardens), range(3), TREATMENTS.index, range(2)], names=["site", "block", "treatment", "head"]
    )
    heads = index.to_frame(index=False)
    heads["treatment"] = pd.Categorical(heads["treatment"], categories=list(TREATMENTS.index))
    heads["dose_tsp"] = pd.Categorical(heads["treatment"].map(TREATMENTS["dose_tsp"]).astype(float), categories=DOSES)
    heads["bucket"] = heads.groupby(["site", "block", "treatment"], observed=True).ngroup()
    dose = heads["treatment"].cat.codes.to_numpy()
    model = derive_model(heads, ["dose_tsp"], ("site:block",))
    found = []
    for _ in range(TRIALS):
        heads["weight_g"] = (
            120
            + gain * (dose == 2)
            + 12 * rng.standard_normal(gardens)[heads["site"]]
            + 3 * rng.standard_normal((gardens, 3))[heads["site"], dose]
            + 6 * rng.standard_normal(heads["bucket"].max() + 1)[heads["bucket"]]
            + 12 * rng.standard_normal(len(heads))
        )
        answered = analyse_response(QUESTION, heads, model)
        assert answered.fits is not None
        result = answered.result
        df = min(row.df for row in result.comparisons)
        draws = draw_means(answered.fits.joint, TREATMENTS, df, seed=1)
        field = CandidateField(
            tuple(Treatment(dose_tsp=d) for d in DOSES),
            0,
            draws,
            None,
            (1.0,) * 3,
            (0.0,) * 3,
            (True,) * 3,
            (gardens * 3,) * 3,
        )
        decision = judge(field, WORTH, THRESHOLDS, result.comparisons, (), Evidence(gardens * 9, gardens))
        truth = dict(zip(DOSES, (0.0, 0.0, gain), strict=True))
        covers = [row.lower <= truth[row.treatment.dose_tsp or 0.0] <= row.upper for row in result.comparisons]
        found.append((decision.verdict, result.tests[0].p, covers))
    return found


def test_a_useless_change_is_seldom_adopted() -> None:
    """Where no dose gains anything, a change is adopted in 2.5 % of trials at most, even with a margin of zero.

    The adopted candidate's simultaneous 95 % interval must exclude no gain, on one side. Bound: the 99.9 % point of
    the binomial.
    """
    verdicts = [verdict for verdict, _, _ in trials(4, 0.0)]
    assert verdicts.count(Verdict.ADOPT) <= binom.ppf(0.999, TRIALS, 0.025)


def test_the_f_test_and_the_intervals_keep_their_level() -> None:
    """Balanced trials reject in 5 % of cases and all intervals cover together in 95 % (bounds: 99.9 % binomial)."""
    found = trials(4, 0.0)
    low, high = binom.ppf([0.0005, 0.9995], TRIALS, 0.05)
    assert low <= sum(p < 0.05 for _, p, _ in found) <= high
    assert low <= sum(not all(covers) for _, _, covers in found) <= high


def test_a_clear_gain_is_found() -> None:
    """A gain of 25 g, four standard errors of its difference or more, is adopted in most trials."""
    verdicts = [verdict for verdict, _, _ in trials(4, 25.0)]
    assert verdicts.count(Verdict.ADOPT) > 0.8 * TRIALS

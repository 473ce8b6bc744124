"""The barley of 1931 and 1932 as a worked example; ``python tests/support/barley_page.py > reports/barley.md``."""

import inspect
from functools import cache

import numpy as np
import pandas as pd

from advice_data import expected, records
from trialkit.advice.gathering import BucketRecords
from trialkit.advice.priors import WEIGHT_G
from trialkit.advice.terms import Points
from trialkit.advice.weights import Weights, weigh
from trialkit.analysis.advising import Advice, AdviceQuestion, advise
from trialkit.analysis.pricing import Prices
from trialkit.documents.decision import Candidate, Verdict
from trialkit.domain.treatment import Treatment
from trialkit.mixed import fit_mixed
from trialkit.protocol.sections import DecisionRule

G_PER_BUSHEL = 5.0
"""Yields in bushels an acre times five are about as heavy as heads in grams, for which the priors are made."""
PRACTICE = "Manchuria"
FIRST = ("1931",)
BOTH = ("1931", "1932")
FAMILIAR = {
    FIRST: ["cultivar", "site"],
    BOTH: ["cultivar", "site", "trial", "site:trial", "cultivar:site", "cultivar:trial"],
}
"""Random terms of the usual mixed model."""
NAMES = {
    "cultivar": "varieties",
    "site": "sites",
    "trial": "years",
    "site:trial": "sites within years",
    "cultivar:site": "varieties at sites",
    "cultivar:trial": "varieties in years",
    "residual": "what is left over",
}
VERDICTS = {
    Verdict.CHANGE: "change to {0}",
    Verdict.CHANGE_AND_TEST: "change to {0}, and test again",
    Verdict.KEEP: "keep {0}",
    Verdict.KEEP_AND_TEST: "keep {0}, and test again",
}


def answer(trials: BucketRecords, years: tuple[str, ...]) -> Advice:
    """Ask trials of so many years what to grow, where the first years' standard variety is what is grown now."""
    buckets = trials.buckets[trials.buckets["trial"].isin(years)].assign(planned=1)
    gardens = trials.gardens[trials.gardens["trial"].isin(years)]

    def in_grams(candidates: pd.DataFrame, _: bool) -> Prices:
        return Prices("g", 1.0, np.zeros(len(candidates)), 0.0, ())

    question = AdviceQuestion(
        practice=Treatment(PRACTICE),
        practice_dose=0.0,  # plays no part
        per_tsp=1.0,
        in_nitrogen=False,
        rule=DecisionRule(current_practice={"cultivar": PRACTICE}),
        prices=in_grams,
        seasons=years,
        seed=1931,
    )
    advice = advise(BucketRecords(buckets, gardens), question)
    assert isinstance(advice, Advice)
    return advice


@cache
def answered(years: tuple[str, ...], exchanged: bool = False) -> Advice:
    """The answer, of the data as they stand or with the years of one site exchanged."""
    trials = records("barley")
    if exchanged:
        other = {"1931": "1932", "1932": "1931"}
        rows = trials.buckets
        rows = rows.assign(trial=rows["trial"].mask(rows["site"] == "Morris", rows["trial"].map(other)))
        trials = BucketRecords(rows, trials.gardens)
    return answer(trials, years)


def familiar(years: tuple[str, ...]) -> dict[str, float]:
    """Standard deviations of the usual mixed model by restricted maximum likelihood, bushels an acre."""
    rows = records("barley").buckets
    fit = fit_mixed(rows[rows["trial"].isin(years)], "weight_g ~ 1", FAMILIAR[years])
    return {name: float(np.sqrt(value)) / G_PER_BUSHEL for name, value in fit.variances.items()}


def ours(years: tuple[str, ...]) -> dict[str, np.ndarray]:
    """Those of the pooled model in the same terms, at its points, bushels an acre."""
    found = answered(years).weights.sd
    sd = {name: value / G_PER_BUSHEL for name, value in found.items()}
    if years == FIRST:
        # One year cannot tell what it does to varieties, nor one plot of each at a site what the site does to them.
        return {
            "cultivar": np.hypot(sd["cultivar"], sd["season"]),
            "site": sd["garden"],
            "residual": np.hypot(sd["bucket"], sd["garden_cultivar"]),
        }
    lasts, passes = np.sqrt(found["lasting"]), np.sqrt(1 - found["lasting"])
    return {
        "cultivar": sd["cultivar"],
        "site": sd["garden"] * lasts,
        "trial": sd["season_level"],
        "site:trial": sd["garden"] * passes,
        "cultivar:site": sd["garden_cultivar"] * lasts,
        "cultivar:trial": sd["season"],
        "residual": np.hypot(sd["bucket"], sd["garden_cultivar"] * passes),
    }


def limits(values: np.ndarray, weight: np.ndarray) -> str:
    """Mean, and limits of 95 in 100."""
    order = np.argsort(values)
    low, high = np.interp([0.025, 0.975], np.cumsum(weight[order]) - weight[order] / 2, values[order])
    return f"{weight @ values:.1f} ({low:.1f} to {high:.1f})"


def standard_deviations() -> str:
    """Table of both models, of one year and of both."""
    lines = ["| | REML, 1931 | pooled model, 1931 | REML, both | pooled model, both |", "|---|---|---|---|---|"]
    told = {years: (familiar(years), ours(years), answered(years).weights.points.weight) for years in (FIRST, BOTH)}
    for name, title in NAMES.items():
        cells = [title]
        for usual, pooled, weight in told.values():
            cells += [f"{usual[name]:.1f}", limits(pooled[name], weight)] if name in usual else ["", ""]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def gains_over_the_first(weights: Weights, points: Points) -> tuple[np.ndarray, np.ndarray]:
    """Gains over the first variety, and their standard deviations, g: what the chain tells."""
    weight, at = weights.points.weight, weights.at(points)
    gain = (at.mean - at.mean[:, [0]])[:, 1:]
    within = ((at.half - at.half[..., [0]]) ** 2).sum(1)[:, 1:]
    mean = weight @ gain
    return mean, np.sqrt(weight @ (within + (gain - mean) ** 2))


def candidates(years: tuple[str, ...]) -> dict[str, Candidate]:
    """Candidates by variety."""
    return {str(one.treatment.cultivar): one for one in answered(years).decision.candidates}


def varieties() -> str:
    """Table of the varieties, the best by both years first."""
    rows = records("barley").buckets.assign(bushels=lambda all: all["weight_g"] / G_PER_BUSHEL)
    raw = (
        rows[rows["trial"] == "1931"].groupby("cultivar")["bushels"].mean(),
        rows.groupby("cultivar")["bushels"].mean(),
    )
    told = candidates(FIRST), candidates(BOTH)
    lines = [
        "| | raw gain, 1931 | gain, 1931 | near the best, 1931 | raw gain, both | gain, both | better in a new site "
        "and year | near the best, both |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name in sorted(told[1], key=lambda name: -told[1][name].weight_g):
        cells = [name]
        for years, mean, of in zip((FIRST, BOTH), raw, told, strict=True):
            one = of[name]
            cells.append("" if one.is_current else f"{mean[name] - mean[PRACTICE]:.1f}")
            if one.gain is None:
                cells.append("what is grown now")
            else:
                low, high = one.gain.lower / G_PER_BUSHEL, one.gain.upper / G_PER_BUSHEL
                cells.append(f"{one.gain.estimate / G_PER_BUSHEL:.1f} ({low:.1f} to {high:.1f})")
            if years == BOTH:
                cells.append("" if one.probability_better is None else f"{100 * one.probability_better:.0f} in 100")
            cells.append(f"{100 * one.probability_near_best:.0f} in 100")
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def said(advice: Advice) -> str:
    """The verdict in words."""
    decision = advice.decision
    near = next(one.probability_near_best for one in decision.candidates if one.is_recommended)
    verdict = VERDICTS[decision.verdict].format(decision.recommended.cultivar)
    return f"{verdict} ({100 * near:.0f} in 100 to be within 2 bushels of the best)"


def away_from_chain() -> tuple[float, float]:
    """How far means of gains over the first variety, and their standard deviations, lie from the chain's, in 100."""
    asked, case = answered(BOTH).asked, expected("barley")
    # With the priors that the chain had: it tests the average, not the priors.
    weights = weigh(asked.gathered, scales={**WEIGHT_G, **case["model"]["scales_g"]})
    mean, sd = gains_over_the_first(weights, asked.points)
    theirs = {name: np.array(values) for name, values in case["gain"].items()}
    of_means, of_sds = (mean - theirs["expected"]) / theirs["sd"], sd / theirs["sd"] - 1
    return 100 * float(np.abs(of_means).max()), 100 * float(np.abs(of_sds).max())


PAGE = """\
# Barley of 1931 and 1932: the pooled model on trials that biometricians know

Made by `python tests/support/barley_page.py > reports/barley.md`; a test makes it anew.

Ten varieties of barley were grown at six places in Minnesota in 1931 and 1932, each once at a site in a year. That is
120 plots, with yields in bushels an acre (Immer, Hayes & Powers 1934, as R's lattice has them). A ledger of these is
two trials, with the sites as gardens and the plots as buckets. Each site comes back in the second year, so the model
can part what lasts at it from what passes. Manchuria, the old standard, is grown now. Is there something better, and
how sure is that after one year, and after two?

At Morris 1932 is the better year, and everywhere else 1931. So it has long been asked whether the two years of Morris
were exchanged in print. They are here as printed. The end of this page tells what follows if they are exchanged.

## The question in Python

```python
{source}```

`trials` are plots and sites in the columns of `BucketRecords`. `years` are `("1931",)` or `("1931", "1932")`. The
priors are those of [every trial](method.md), made for heads of some 150 g. So a bushel an acre is put in as
{scale:g} g. A margin of 10 g is then {margin:g} bushels, and what a change must gain, 3 g, {change:g}. A plot is put in
as one head that was weighed. The other part of the model is the share of heads that become marketable. It says
{share:.0f} in 100 of all varieties alike, and gains below are that much smaller than those of plots.

## Standard deviations, bushels an acre

REML is the usual mixed model (`trialkit.mixed`; a test holds it to lme4), with each term at its one most likely value.
Of the pooled model, the table has the posterior mean and limits of 95 in 100. One year cannot part a variety from what
that year did to it, nor a plot from what a site did to its variety.

{standard_deviations}

Two years tell next to nothing of what years do. REML has a number there, and the pooled model has limits, over which
the rest is averaged. Varieties in years and at sites are below REML's, since the priors expect little there. What is
left over takes it up.

## Varieties, bushels an acre over {practice}

Raw gains are differences of plain means. Gains are posterior means with limits of 95 in 100, shrunk by as much as the
records ask for. "Near the best" is the chance of being within {margin:g} bushels of the best of all ten, on average
over sites and years.

{varieties}

## What the second year changed

- After 1931: {first}.
  After both: {both}.
- {best}'s raw gain was {raw_first:.1f} and is {raw_both:.1f}. After one year {shrunk_first:.0f} in 100 of it was
  believed, after two {shrunk_both:.0f} in 100.
- {second}, {second_first:.1f} after one year, has caught up, so nobody can tell the two apart. Either is near the
  best. The advice is to grow one of them and to test again.
- {third} was as likely as not ({third_first:.0f} in 100) to be near the best, and is no longer
  ({third_both:.0f} in 100).
- The chance that {best} beats {practice} at a site and in a year not yet seen was {better_first:.0f} in 100 after one
  year. It is {better_both:.0f} now, which is less sure than the limits of its mean, since sites and years differ.
- With the years of Morris exchanged: {exchanged}.
  The gain of {best} is then {gain_exchanged:.1f} ({gain_both:.1f} as printed), and what passes of a site
  {passing_exchanged:.1f} bushels ({passing:.1f}). What is grown doesn't depend on it, as all varieties of a site
  move together.

## Beside the chain

A long Markov chain of another library, on the same model written anew and densely, drew {draws:,} times. It had a
prior of 5 g for what seasons do to varieties. With that, gains of plots over the first variety by the alphabet are
within {of_means:.1f} % of a standard deviation of the chain's. Their standard deviations are within {of_sds:.1f} %. The
average is worth {effective:.0f} equally weighted sets of standard deviations. No chain runs.

## Sources

Immer, F. R., Hayes, H. K. & Powers, L. (1934). Statistical determination of barley varietal adaptation. *J. Am. Soc.
Agron.* 26, 403–419. · The plots: `barley` of R's lattice, whose help tells of Morris; in `tests/reference/advice`.
"""


def page() -> str:
    """The page."""
    first, both, exchanged = answered(FIRST), answered(BOTH), answered(BOTH, True)
    of_first, of_both, of_exchanged = (
        {str(one.treatment.cultivar): one for one in advice.decision.candidates} for advice in (first, both, exchanged)
    )
    best, second, third = sorted(of_both, key=lambda name: -of_both[name].weight_g)[:3]

    def gain(of: dict[str, Candidate], name: str) -> float:
        told = of[name].gain
        return told.estimate / G_PER_BUSHEL if told else 0.0

    def raw(of: dict[str, Candidate], name: str) -> float:
        return ((of[name].raw_yield_g or 0.0) - (of[PRACTICE].raw_yield_g or 0.0)) / G_PER_BUSHEL

    def passing(advice: Advice) -> float:
        sd = advice.weights.sd
        passes = sd["garden"] * np.sqrt(1 - sd["lasting"]) / G_PER_BUSHEL
        return float(advice.weights.points.weight @ passes)

    of_means, of_sds = away_from_chain()
    rule = first.asked.question.rule
    return PAGE.format(
        source=inspect.getsource(answer),
        scale=G_PER_BUSHEL,
        margin=rule.margin_g / G_PER_BUSHEL,
        change=rule.change_cost_g / G_PER_BUSHEL,
        share=100 * of_both[best].share_usable,
        standard_deviations=standard_deviations(),
        varieties=varieties(),
        practice=PRACTICE,
        first=said(first),
        both=said(both),
        exchanged=said(exchanged),
        best=best,
        second=second,
        third=third,
        raw_first=raw(of_first, best),
        raw_both=raw(of_both, best),
        shrunk_first=100 * gain(of_first, best) / raw(of_first, best),
        shrunk_both=100 * gain(of_both, best) / raw(of_both, best),
        second_first=gain(of_first, second),
        third_first=100 * of_first[third].probability_near_best,
        third_both=100 * of_both[third].probability_near_best,
        better_first=100 * (of_first[best].probability_better or 0.0),
        better_both=100 * (of_both[best].probability_better or 0.0),
        gain_exchanged=gain(of_exchanged, best),
        gain_both=gain(of_both, best),
        passing=passing(both),
        passing_exchanged=passing(exchanged),
        draws=expected("barley")["verification"]["draws"],
        of_means=of_means,
        of_sds=of_sds,
        effective=both.decision.effective_points,
    )


if __name__ == "__main__":
    print(page(), end="")

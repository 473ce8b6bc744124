"""Coverage of days to harvest seen between visits: ``python tests/benchmarks/censoring.py > reports/days_coverage.md``.

Trials of four gardens, three blocks, four treatments and two heads a bucket. The last visit is set so that none, a
fifth or half of the heads are not ready by then, or the first so that a fifth or 35 of 100 already are. Printed is the
share of 95 % intervals of differences from the first treatment that hold the truth. Progress goes to stderr.
"""

import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from trialkit.analysis.derived_model import derive_model
from trialkit.mixed import MixedModelError
from trialkit.mixed.censored import CensoredFit, fit_censored
from trialkit.mixed.combining import average
from trialkit.mixed.small_sample import SmallSample

FloatArray = NDArray[np.float64]

SEED, IMPUTATIONS = 20261127, 20
TRUTH = np.array([0.0, 1.0, -1.5, 2.0])
SD = {"site": 1.5, "site:block": 0.5, "site:treatment": 0.5, "bucket": 1.0}
SD_HEAD = 1.5


@dataclass(frozen=True)
class Case:
    """What the visits of a row of the table miss of the heads."""

    share: float
    """Of the heads: not ready at the last visit or, where visits begin late, ready at the first."""
    late: bool = False
    as_day: bool = False
    """Whether the day on which such a head was cut is taken as the day on which it became ready."""
    every: int = 3
    """Days between visits."""
    trials: int = 130

    @property
    def label(self) -> str:
        """In the table."""
        missed = "ready at the first visit" if self.late else "never seen ready"
        return f"{100 * self.share:.0f} % {missed}" + self.as_day * ", that day taken as the day itself"


CASES = (
    *(Case(share) for share in (0.0, 0.2, 0.5)),
    *(Case(share, late=True) for share in (0.2, 0.35)),
    *(Case(share, late=True, as_day=True) for share in (0.2, 0.35)),
    Case(0.35, late=True, every=7, trials=30),
)


def draw_heads(case: Case, number: int) -> pd.DataFrame:
    """Draw the heads of one trial, with bounds of their days."""
    rng = np.random.default_rng([SEED, int(100 * case.share), number])
    index = pd.MultiIndex.from_product(
        [range(4), range(3), range(4), range(2)], names=["site", "block", "treatment", "head"]
    )
    heads = index.to_frame(index=False)
    heads["bucket"] = np.arange(len(heads)) // 2
    day = 40 + TRUTH[heads["treatment"]] + SD_HEAD * rng.standard_normal(len(heads))
    for term, sd in SD.items():
        codes = heads.groupby(term.split(":")).ngroup().to_numpy()
        day = day + sd * rng.standard_normal(codes.max() + 1)[codes]
    if case.late:
        visits = np.arange(np.quantile(day, case.share), day.max() + case.every, case.every)
    else:
        last = np.quantile(day, 1 - case.share) if case.share else day.max() + case.every
        visits = np.arange(last, 10, -case.every)[::-1]
    at, ends = np.searchsorted(visits, day), np.array([-np.inf, *visits, np.inf])
    heads["upper"] = ends[at + 1]
    heads["lower"] = np.where(np.isinf(ends[at]) & case.as_day, heads["upper"], ends[at])
    return heads.astype(dict.fromkeys(("site", "block", "treatment", "bucket"), "category"))


def fit(heads: pd.DataFrame, number: int) -> CensoredFit:
    """Fit as the analysis does: variances free, else at zero or above."""
    model = derive_model(heads, ["treatment"], ("site:block",))
    formula, options = model.formula("days"), {"seed": number, "imputations": IMPUTATIONS}
    try:
        return fit_censored(heads, formula, model.random, bounds="strata", **options)
    except MixedModelError:
        return fit_censored(heads, formula, model.random, bounds="nonnegative", **options)


def trial(case: Case, number: int) -> FloatArray | None:
    """One trial: intervals of three that hold the truth by each rule of d.f., mean T and error^2; None if refused."""
    try:
        fitted = fit(draw_heads(case, number), number)
    except MixedModelError:
        return None
    combined, fixed = fitted.answers.combined, fitted.model.fixed
    effects = np.eye(len(fixed.names))[fixed.kept][[fixed.names[i] != "Intercept" for i in fixed.kept]]
    contrasts = fixed.to_orthogonal(effects)
    gap = combined.estimate(contrasts)[0] - (TRUTH[1:] - TRUTH[0])
    variance = ((contrasts @ combined.adjusted[0]) * contrasts).sum(1)
    complete, missing = average(SmallSample.contrast_df(combined, contrasts)), combined.share_missing(contrasts)
    between_sets = missing**2 / (IMPUTATIONS - 1)
    known, barnard_rubin = complete, (complete + 1) / (complete + 3) * complete * (1 - missing)
    rules = [combined.contrast_df(contrasts)[0], *(1 / (between_sets + 1 / df) for df in (known, barnard_rubin))]
    held = [(np.abs(gap) <= stdtrit(df, 0.975) * np.sqrt(variance)).sum() for df in rules]
    return np.array([*held, variance.mean(), (gap**2).mean()])


def main() -> None:
    """Run all cases and print the page."""
    lines = [
        "| heads | days between visits | trials | intervals that hold the truth, % | with all the d.f., % "
        "| with Barnard and Rubin's d.f., % | mean squared s.e. | mean squared error | trials refused |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    with ProcessPoolExecutor(min(2, os.cpu_count() or 1)) as pool:
        for case in CASES:
            answers = pool.map(trial, [case] * case.trials, range(case.trials), chunksize=5)
            found = np.array([answer for answer in answers if answer is not None])
            *held, variance, error = found.mean(0)
            rates = [f"{100 * one / 3:.1f}" for one in held]
            rates[0] += f" ± {100 / 3 * found[:, 0].std(ddof=1) / np.sqrt(len(found)):.1f}"
            refused = case.trials - len(found)
            cells = (case.label, case.every, case.trials, *rates, f"{variance:.3f}", f"{error:.3f}", refused)
            lines.append(f"| {' | '.join(map(str, cells))} |")
            print(lines[-1], file=sys.stderr, flush=True)
    print(PREAMBLE)
    print("\n".join(lines))


PREAMBLE = f"""\
# Days to harvest seen between visits: do the intervals hold?

Made by `python tests/benchmarks/censoring.py` (seed {SEED}). Trials have four gardens, three blocks, four treatments
and two heads a bucket. Standard deviations in days: {", ".join(f"{k} {v:g}" for k, v in SD.items())}, heads
{SD_HEAD:g}. {IMPUTATIONS} completed sets each.

The intervals are of 95 %, each for itself, of three differences from the first treatment in each trial. The first
rate has its Monte-Carlo standard error, with the intervals of a trial counted as dependent. The second and third rate
are of the same intervals with other degrees of freedom. They are those of days all known, and those of Barnard and
Rubin (1999). With few gardens the first are too many and the second too few, and the analysis takes what lies
between. Mean squared s.e. and mean squared error should agree. A head ready at the first visit is known to have been
ready by then, but not since when. Where the day of that visit is taken as its day, they do not agree.
"""

if __name__ == "__main__":
    main()

"""Coverage of days to harvest seen between visits: ``python tests/benchmarks/censoring.py > reports/days_coverage.md``.

Trials of four gardens, three blocks, four treatments and two heads a bucket, visited every third day. The last visit is
set so that nobody, a fifth or half of the heads are not ready by then. Printed is the share of 95 % intervals of
differences from the first treatment that hold the truth. Progress goes to stderr.
"""

import os
import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit
from scipy.stats import binom

from trialkit.analysis.censored import CensoredFit, fit_censored
from trialkit.analysis.combining import average
from trialkit.analysis.derived_model import derive_model
from trialkit.mixed import MixedModelError
from trialkit.mixed.small_sample import SmallSample

FloatArray = NDArray[np.float64]

SEED, TRIALS, IMPUTATIONS = 20261127, 1000, 20
CENSORED = (0.0, 0.2, 0.5)
TRUTH = np.array([0.0, 1.0, -1.5, 2.0])
SD = {"site": 1.5, "site:block": 0.5, "site:treatment": 0.5, "bucket": 1.0}
SD_HEAD, EVERY = 1.5, 3


def draw_heads(share: float, number: int) -> pd.DataFrame:
    """Draw the heads of one trial, with bounds of their days."""
    rng = np.random.default_rng([SEED, int(100 * share), number])
    index = pd.MultiIndex.from_product(
        [range(4), range(3), range(4), range(2)], names=["site", "block", "treatment", "head"]
    )
    heads = index.to_frame(index=False)
    heads["bucket"] = np.arange(len(heads)) // 2
    day = 40 + TRUTH[heads["treatment"]] + SD_HEAD * rng.standard_normal(len(heads))
    for term, sd in SD.items():
        codes = heads.groupby(term.split(":")).ngroup().to_numpy()
        day = day + sd * rng.standard_normal(codes.max() + 1)[codes]
    last = np.quantile(day, 1 - share) if share else day.max() + EVERY
    visits = np.arange(last, 10, -EVERY)[::-1]
    at = np.searchsorted(visits, day)
    heads["lower"] = visits[at - 1]
    heads["upper"] = np.where(at < len(visits), visits[np.minimum(at, len(visits) - 1)], np.inf)
    return heads.astype(dict.fromkeys(("site", "block", "treatment", "bucket"), "category"))


def fit(heads: pd.DataFrame, number: int) -> CensoredFit:
    """Fit as the analysis does: variances free, else at zero or above."""
    model = derive_model(heads, ["treatment"], ("site:block",))
    formula, options = model.formula("days"), {"seed": number, "imputations": IMPUTATIONS}
    try:
        return fit_censored(heads, formula, model.random, bounds="strata", **options)
    except MixedModelError:
        return fit_censored(heads, formula, model.random, bounds="nonnegative", **options)


def trial(share: float, number: int) -> FloatArray:
    """One trial: intervals of three that hold the truth by each rule of d.f., share not ready, mean T and error^2."""
    heads = draw_heads(share, number)
    fitted = fit(heads, number)
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
    return np.array([*held, np.isinf(heads["upper"]).mean(), variance.mean(), (gap**2).mean()])


def main() -> None:
    """Run all shares and print the page."""
    lines = [
        "| never seen ready | intervals that hold the truth, % | with all the d.f., % "
        "| with Barnard and Rubin's d.f., % | mean squared s.e. | mean squared error |",
        "|---|---|---|---|---|---|",
    ]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for share in CENSORED:
            found = np.array(list(pool.map(trial, [share] * TRIALS, range(TRIALS), chunksize=10)))
            *held, seen, variance, error = found.mean(0)
            rates = f"{' | '.join(f'{100 * one / 3:.1f}' for one in held)} | {variance:.3f} | {error:.3f}"
            lines.append(f"| {100 * seen:.0f} % of the heads | {rates} |")
            print(lines[-1], file=sys.stderr, flush=True)
    low, high = (100 * binom.ppf(q, TRIALS, 0.95) / TRIALS for q in (0.005, 0.995))
    print(PREAMBLE.format(low=low, high=high))
    print("\n".join(lines))


PREAMBLE = f"""\
# Days to harvest seen between visits: do the intervals hold?

Made by `python tests/benchmarks/censoring.py` (seed {SEED}): {TRIALS:,} trials a row, of four gardens, three blocks,
four treatments and two heads a bucket, visited every {EVERY} days; standard deviations in days:
{", ".join(f"{k} {v:g}" for k, v in SD.items())}, heads {SD_HEAD:g}. {IMPUTATIONS} completed sets each.

95 % intervals of three differences from the first treatment a trial, each for itself. Where the true rate is 95 %, 99
of 100 such figures of as many independent intervals as trials would lie between {{low:.1f}} and {{high:.1f}} %. The
second and third rate are of the same intervals with other degrees of freedom: those of days all known, and Barnard and
Rubin's (1999). With few gardens the first are too many and the second too few, and the analysis takes what lies
between. The last two columns should agree.
"""

if __name__ == "__main__":
    main()

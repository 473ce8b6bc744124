"""Coverage of days to harvest seen between visits: ``python tests/benchmarks/censoring.py > reports/days_coverage.md``.

Trials of four gardens, three blocks, four treatments and two heads a bucket, visited every third day. The last visit is
set so that nobody, a fifth or half of the heads are not ready by then. Printed is the share of 95 % intervals of
differences from the first treatment that hold the truth. Progress goes to stderr.
"""

from __future__ import annotations

import os
import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd
from scipy.special import stdtrit
from scipy.stats import binom

from trialkit.analysis.censored import fit_censored
from trialkit.analysis.derived_model import derive_model
from trialkit.mixed import MixedModelError

SEED, TRIALS, IMPUTATIONS = 20261127, 1000, 20
CENSORED = (0.0, 0.2, 0.5)
TRUTH = np.array([0.0, 1.0, -1.5, 2.0])
SD = {"site": 1.5, "site:block": 0.5, "site:treatment": 0.5, "bucket": 1.0}
SD_HEAD, EVERY = 1.5, 3


def trial(share: float, number: int) -> tuple[int, int, float]:
    """Intervals of one trial that hold the truth, how many there are, and the share of heads never seen ready."""
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
    heads = heads.astype(dict.fromkeys(("site", "block", "treatment", "bucket"), "category"))
    model = derive_model(heads, ["treatment"], ("site:block",))
    fit = None
    for bounds in ("strata", "nonnegative"):
        try:
            fit = fit_censored(
                heads, model.formula("days"), model.random, bounds=bounds, seed=number, imputations=IMPUTATIONS
            )
            break
        except MixedModelError:
            continue
    assert fit is not None
    table = fit.means("treatment")
    covariance, df = fit.mean_covariance("treatment").to_numpy(), fit.compare("treatment", "versus", "0")["df"]
    held = 0
    for i in range(1, 4):
        se = np.sqrt(covariance[0, 0] + covariance[i, i] - 2 * covariance[0, i])
        gap = table["mean"].iloc[i] - table["mean"].iloc[0] - TRUTH[i]
        held += abs(gap) <= stdtrit(df.iloc[i - 1], 0.975) * se
    return held, 3, float(np.isinf(heads["upper"]).mean())


def main() -> None:
    """Run all shares and print the page."""
    lines = ["| never seen ready | trials | intervals that hold the truth, % |", "|---|---|---|"]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for share in CENSORED:
            found = list(pool.map(trial, [share] * TRIALS, range(TRIALS), chunksize=10))
            held, asked = (sum(row[i] for row in found) for i in (0, 1))
            seen = np.mean([row[2] for row in found])
            lines.append(f"| {100 * seen:.0f} % of the heads | {TRIALS:,} | {100 * held / asked:.1f} |")
            print(lines[-1], file=sys.stderr, flush=True)
    low, high = (100 * binom.ppf(q, TRIALS, 0.95) / TRIALS for q in (0.005, 0.995))
    print(PREAMBLE.format(low=low, high=high))
    print("\n".join(lines))


PREAMBLE = f"""\
# Days to harvest seen between visits: do the intervals hold?

Made by `python tests/benchmarks/censoring.py` (seed {SEED}). Trials of four gardens, three blocks, four treatments,
two heads a bucket, visited every {EVERY} days; standard deviations in days:
{", ".join(f"{k} {v:g}" for k, v in SD.items())}, heads {SD_HEAD:g}.
{IMPUTATIONS} completed sets each. 95 % intervals of three differences from the first treatment a trial, without
allowance for their number. Where the true rate is 95 %, 99 of 100 such figures of as many independent intervals as
trials would lie between {{low:.1f}} and {{high:.1f}} %.
"""

if __name__ == "__main__":
    main()

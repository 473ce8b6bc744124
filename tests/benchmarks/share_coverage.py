"""Do intervals of marketable shares hold where gardens differ, and does the test of equal shares keep its 5 %.

Run: python tests/benchmarks/share_coverage.py [TRIALS [SEED [TESTS]]] > reports/share_coverage.md
Progress goes to stderr.
"""

from functools import cache
from typing import NamedTuple

import invented
import numpy as np
import pandas as pd
from invented import share_with_error
from scipy.optimize import brentq
from scipy.special import expit

from trialkit.analysis.share_variation import share_variation
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.stats.shares import GroupShares, overdispersion, shares_by_clusters, shares_by_design_effect

TRIALS, TESTS, SEED = 200, 300, 20270611
SHARES, HEADS = (0.95, 0.9, 0.8, 0.6), 4
EQUAL = 0.8
BLOCK_LOGIT, BUCKET_LOGIT = 0.2, 0.3
STRATA = ("site:block",)
FEW_SIZES = ((1, 4), (1, 12), (2, 4))
SIZES = ((3, 4), (4, 4), (4, 12), (12, 4))
GARDEN_LOGIT = (0.0, 0.7, 1.2)
TREATMENT_LOGIT = 0.5
CONFIDENCE, LEVEL = 0.95, 0.05


class Case(NamedTuple):
    """A layout, how unlike its gardens are, and how unlike what they do to a treatment is, logits."""

    gardens: int
    blocks: int
    garden: float
    treatment: float

    @property
    def sd(self) -> float:
        """Standard deviation of the logit of a bucket."""
        return float(np.sqrt(self.garden**2 + self.treatment**2 + BLOCK_LOGIT**2 + BUCKET_LOGIT**2))


class Found(NamedTuple):
    """Of one trial: how many intervals held the truth, and their mean width; whether a model was fitted."""

    held: list[int]
    width: list[float]
    fitted: bool


class Trial(NamedTuple):
    """Buckets of a trial, and the true shares: over all gardens, or over its own where these are few."""

    buckets: pd.DataFrame
    true: np.ndarray


def drawn(case: Case, seed: int, shares: tuple[float, ...]) -> Trial:
    """Draw a trial whose heads become marketable as `shares` says, on average over gardens."""
    rng = np.random.default_rng([seed, case.gardens, case.blocks, int(10 * case.garden), int(10 * case.treatment)])
    shape = case.gardens, case.blocks, len(shares)
    logit = np.array([typical(share, case.sd) for share in shares])
    logit = logit + rng.normal(0, case.garden, (case.gardens, 1, 1))
    of_gardens = logit[:, 0]
    logit = logit + rng.normal(0, BLOCK_LOGIT, (*shape[:2], 1))
    within = rng.normal(0, case.treatment, (case.gardens, 1, len(shares)))
    logit = logit + within + rng.normal(0, BUCKET_LOGIT, shape)
    site, block, which = (part.ravel().astype(str) for part in np.indices(shape))
    buckets = pd.DataFrame(
        {
            "bucket": np.arange(site.size).astype(str),
            "site": site,
            "block": block,
            "treatment": which,
            "cultivar": which,
            "recorded": HEADS,
            "usable": rng.binomial(HEADS, expit(logit)).ravel(),
        }
    )
    if case.gardens >= FEWEST_RANDOM_LEVELS:
        return Trial(buckets, np.array(shares))
    return Trial(buckets, share_of(of_gardens + within[:, 0], np.hypot(BLOCK_LOGIT, BUCKET_LOGIT)).mean(0))


def trial(case: Case, seed: int) -> pd.DataFrame:
    """Buckets of a trial whose heads become marketable as `SHARES` says, on average over gardens."""
    return drawn(case, seed, SHARES).buckets


def share_of(logit: np.ndarray, sd: float) -> np.ndarray:
    """Mean share where logits have this mean and standard deviation."""
    at, weight = np.polynomial.hermite_e.hermegauss(41)
    return np.asarray(expit(np.asarray(logit)[..., None] + sd * at) @ (weight / weight.sum()))


@cache
def typical(share: float, sd: float) -> float:
    """Logit in a typical garden where this is the share on average."""
    return float(brentq(lambda logit: float(share_of(logit, sd)) - share, -20, 20))


def both_ways(buckets: pd.DataFrame, *, alike: bool = False) -> tuple[GroupShares, GroupShares, bool]:
    """Shares by the design effect alone and by the model; whether that could be fitted."""
    by_chance = shares_by_design_effect(buckets, "treatment", overdispersion(buckets), alike=alike)
    fitted = share_variation(buckets, ["cultivar"], STRATA)
    if fitted is None:
        return by_chance, by_chance, False
    return by_chance, shares_by_clusters(buckets, "treatment", fitted.clusters, fitted.bucket, alike=alike), True


def judged(job: tuple[Case, int]) -> Found:
    """Draw one trial and count: by the design effect and by the model; of shares and of differences."""
    case, seed = job
    one = drawn(case, seed, SHARES)
    *ways, fitted = both_ways(one.buckets)
    counted = [part for shares in ways for part in (of_shares(shares, one.true), of_differences(shares, one.true))]
    return Found([held for held, _ in counted], [width for _, width in counted], fitted)


def called_different(job: tuple[Case, int]) -> list[bool | None]:
    """Draw one trial of equal shares and test them, by the design effect and by the model; None where no test is."""
    case, seed = job
    *ways, _ = both_ways(drawn(case, seed, (EQUAL,) * len(SHARES)).buckets, alike=True)
    found = [shares.compare().p for shares in ways]
    return [None if p is None else p < LEVEL for p in found]


def of_shares(shares: GroupShares, truth: np.ndarray) -> tuple[int, float]:
    """Shares held, and the mean width."""
    limits = [shares.share(i, CONFIDENCE) for i in range(len(SHARES))]
    held = sum(one.lower <= true <= one.upper for one, true in zip(limits, truth, strict=True) if one)
    return held, float(np.mean([one.upper - one.lower for one in limits if one]))


def of_differences(shares: GroupShares, truth: np.ndarray) -> tuple[int, float]:
    """Differences from the first held, and the mean width."""
    limits = [shares.difference(i, 0, CONFIDENCE) for i in range(1, len(SHARES))]
    true = truth[1:] - truth[0]
    held = sum(one.lower <= at <= one.upper for one, at in zip(limits, true, strict=True) if one)
    return held, float(np.mean([one.upper - one.lower for one in limits if one]))


def row(case: Case, found: list[Found]) -> str:
    """Make a line of the table."""
    held, width = np.array([one.held for one in found]), np.mean([one.width for one in found], 0)
    of = np.tile([len(SHARES), len(SHARES) - 1], 2)
    cells = [f"{share_with_error(held[:, i], np.full(len(found), of[i]))} | {100 * width[i]:.0f}" for i in (0, 2, 1, 3)]
    return f"| {' | '.join(f'{part:g}' for part in case)} | {' | '.join(cells)} |"


def test_row(case: Case, found: list[list[bool | None]]) -> str:
    """Make a line of the table of tests."""
    cells = []
    for way in zip(*found, strict=True):
        said = np.array([one for one in way if one is not None], float)
        cells.append(f"{100 * len(said) / len(way):.0f} | {share_with_error(said, np.ones(len(said)))}")
    return f"| {' | '.join(f'{part:g}' for part in case)} | {' | '.join(cells)} |"


PREAMBLE = """\
# Do the intervals of marketable shares hold?

Made by `python tests/benchmarks/share_coverage.py {trials} {seed} {tests}`. There are {treatments} treatments.
On average over gardens, {shares} of their heads become marketable. They stand in
randomised complete blocks, {heads} heads a bucket.
Logits differ between gardens, and in what a garden does to a treatment, by the standard deviations in the table.
Between blocks they differ by {block:g}, and between buckets by {bucket:g}. Each line has {trials} trials. Held: how
many intervals of 95 % hold the truth, ± Monte-Carlo standard error. Widths are in points.

The design effect alone counts heads of a bucket for fewer than they are, and does not look at gardens. The model is a
logistic mixed model of gardens, blocks and buckets. Where gardens are few, t widens its intervals. One or two gardens
stand for themselves: the truth is their own share.

Aimed at: 93 to 97 % of the intervals of shares hold.

| gardens | blocks in each | gardens differ by | in a treatment by | {columns} |
|---|---|---|---|{rules}"""
COLUMNS = [f"{what}, {by}: held, % | width" for what in ("share", "difference") for by in ("design effect", "model")]


TESTS_PREAMBLE = """
## Does the test that shares are the same keep its 5 %?

The same layouts, with {equal} % of the heads of every treatment marketable on average. Each line has {tests} trials.
Tested: in how many trials heads enough were lost for a test. Called different: of those, ± Monte-Carlo standard error.

By the design effect it is Pearson's chi-square divided by that. By the model it is the score test, with F's degrees of
freedom from what the gardens tell.

Where few trials are tested, they are those with unusual losses, and what is called different says little. Three gardens
that treat treatments unlike are too few to show that they do: there the test says so too often.

| gardens | blocks in each | gardens differ by | in a treatment by | {columns} |
|---|---|---|---|{rules}"""
TEST_COLUMNS = [f"{by}: tested, % | called different, %" for by in ("design effect", "model")]


def cases(sizes: tuple[tuple[int, int], ...]) -> list[Case]:
    """Layouts of these sizes, alike to unlike; where gardens stand for others, also with treatments that are unlike."""
    made = [Case(*size, sd, 0.0) for size in sizes for sd in GARDEN_LOGIT]
    return made + [Case(*size, 0.7, TREATMENT_LOGIT) for size in sizes if size[0] >= FEWEST_RANDOM_LEVELS]


def main() -> None:
    """Run and print the page."""
    trials, seed, tests = invented.asked_for(TRIALS, SEED, TESTS)
    all_cases = [*cases(FEW_SIZES), *cases(SIZES)]
    found = invented.run(judged, [(case, seed + i) for case in all_cases for i in range(trials)])
    print(
        PREAMBLE.format(
            trials=trials,
            seed=seed,
            tests=tests,
            treatments=len(SHARES),
            heads=HEADS,
            columns=" | ".join(COLUMNS),
            rules="---|" * 2 * len(COLUMNS),
            shares=", ".join(f"{100 * share:.0f}" for share in SHARES[:-1]) + f" and {100 * SHARES[-1]:.0f} %",
            block=BLOCK_LOGIT,
            bucket=BUCKET_LOGIT,
        )
    )
    for i, case in enumerate(all_cases):
        print(row(case, found[i * trials : (i + 1) * trials]))
    unfitted = sum(not one.fitted for one in found)
    print(
        f"\nNo model could be fitted in {unfitted} of {len(found):,} trials; those intervals are by the design effect."
    )
    said = invented.run(called_different, [(case, seed + i) for case in all_cases for i in range(tests)])
    print(
        TESTS_PREAMBLE.format(
            equal=round(100 * EQUAL),
            tests=tests,
            columns=" | ".join(TEST_COLUMNS),
            rules="---|" * 2 * len(TEST_COLUMNS),
        )
    )
    for i, case in enumerate(all_cases):
        print(test_row(case, said[i * tests : (i + 1) * tests]))


if __name__ == "__main__":
    main()

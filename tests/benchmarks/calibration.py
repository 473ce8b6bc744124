"""Error rates of the analysis: ``python tests/benchmarks/calibration.py > reports/calibration.md`` (some minutes).

For each tiny or small trial, responses without any treatment effect are drawn with a seed and analysed in three ways:
variances of the strata free, with the analysis's fallbacks where they do not settle (`trialkit.analysis.response`);
variances held at zero or above; and the naive way that takes heads as replicates. Printed are the share of F tests
with p < 0.05 and of 95 % intervals that hold the truth.
Progress goes to stderr.
"""

from __future__ import annotations

import os
import sys
import zlib
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtrit
from scipy.stats import binom

from trialkit.analysis.derived_model import DerivedModel, derive_model
from trialkit.mixed import MixedFit, fit_mixed, refit_many

FloatArray = NDArray[np.float64]

SEED = 20260820
TREATMENTS, HEADS = 3, 4
SITES, BLOCKS = (1, 2, 3, 5), (3, 4, 6)
LOSSES = ("none", "a tenth of the heads", "a tenth of the buckets")
# Variances in units of that between heads of one bucket; sites differ by 4 throughout.
WORLDS = {
    "only heads vary": {"site:block": 0.0, "bucket": 0.0, "site:treatment": 0.0},
    "buckets vary much": {"site:block": 1.0, "bucket": 2.0, "site:treatment": 0.5},
}
WAYS = ("free", "at zero or above", "heads as replicates")
BALANCED_RESPONSES = 20_000
PATTERNS, RESPONSES_A_PATTERN = 4, 1_000


@dataclass(frozen=True)
class Case:
    """One kind of trial in one world."""

    sites: int
    blocks: int
    loss: str
    world: str

    @property
    def seed(self) -> int:
        """Seed of its own, so that cases can be run in any order."""
        return SEED + zlib.crc32(repr(self).encode())


@dataclass(frozen=True)
class Tally:
    """How many of `drawn` responses a way of analysing rejected, and how many of its intervals held the truth."""

    drawn: int = 0
    rejected: int = 0
    held: int = 0

    def add(self, p: FloatArray, gap: FloatArray) -> Tally:
        """Count p values, and gaps of estimates from the truth in units of half their interval."""
        return Tally(self.drawn + len(p), self.rejected + int((p < 0.05).sum()), self.held + int((gap <= 1).sum()))


@dataclass(frozen=True)
class Answers:
    """p of the F test, and the gap of one difference from its truth in half intervals; shape (responses,)."""

    p: FloatArray
    gap: FloatArray

    def filled(self, other: Answers) -> Answers:
        """Take another's answers where these did not settle."""
        settled = np.isfinite(self.p)
        return Answers(np.where(settled, self.p, other.p), np.where(settled, self.gap, other.gap))


def trial(case: Case, rng: np.random.Generator) -> pd.DataFrame:
    """Lay out the trial and lose what is lost."""
    index = pd.MultiIndex.from_product(
        [range(n) for n in (case.sites, case.blocks, TREATMENTS, HEADS)], names=["site", "block", "treatment", "head"]
    )
    heads = index.to_frame(index=False)
    heads["bucket"] = np.arange(len(heads)) // HEADS
    if case.loss == "a tenth of the heads":
        heads = heads.drop(index=rng.choice(len(heads), round(len(heads) / 10), replace=False))
    if case.loss == "a tenth of the buckets":
        buckets = heads["bucket"].nunique()
        heads = heads[~heads["bucket"].isin(rng.choice(buckets, max(1, round(buckets / 10)), replace=False))]
    for column in ("site", "block", "treatment"):
        heads[column] = pd.Categorical(heads[column])
    return heads.reset_index(drop=True)


def draw(case: Case, heads: pd.DataFrame, count: int, rng: np.random.Generator) -> FloatArray:
    """Responses without a treatment effect, shape (count, heads)."""
    total = rng.standard_normal((count, len(heads)))
    variances = {"site": 4.0, **WORLDS[case.world]}
    if case.sites < 3:  # the garden's own effect of a treatment is then a part of the truth, not an error
        variances["site:treatment"] = 0.0
    for term, variance in variances.items():
        codes = heads.groupby(term.split(":"), observed=True).ngroup().to_numpy()
        total += np.sqrt(variance) * rng.standard_normal((count, codes.max() + 1))[:, codes]
    return np.asarray(total)


def mixed(heads: pd.DataFrame, model: DerivedModel, responses: FloatArray) -> dict[str, Answers]:
    """Analyse with free variances, falling back as the analysis does, and with variances at zero or above."""
    codes = pd.factorize(heads["bucket"])[0]
    means = np.stack([np.bincount(codes, y) for y in responses]) / np.bincount(codes)
    buckets = heads.drop_duplicates("bucket").reset_index(drop=True)
    free = _refits(_fit(heads, model, "strata"), responses)
    on_means = _refits(_fit(buckets, model.on_bucket_means(), "strata"), means)
    held = _refits(_fit(heads, model, "nonnegative"), responses)
    return {"free": free.filled(on_means).filled(held), "at zero or above": held}


def _fit(data: pd.DataFrame, model: DerivedModel, bounds: str) -> MixedFit:
    """Fit a first response whose variances are all positive, so that it surely settles."""
    rng = np.random.default_rng(1)
    y = rng.standard_normal(len(data))
    for term in model.random:
        codes = data.groupby(term.split(":"), observed=True).ngroup().to_numpy()
        y += 2 * rng.standard_normal(codes.max() + 1)[codes]
    return fit_mixed(data.assign(y=y), model.formula("y"), model.random, bounds=bounds)  # type: ignore[arg-type]


def _refits(fit: MixedFit, responses: FloatArray) -> Answers:
    contrast = np.zeros((1, len(fit.model.fixed.names)))
    contrast[0, list(fit.model.fixed.names).index("treatment[T.1]")] = 1.0
    refits = refit_many(fit, responses, terms=["treatment"], contrasts=contrast)
    test = refits.tests["treatment"]
    settled = refits.converged & (test.denominator_df >= 1)
    half = stdtrit(refits.df[:, 0], 0.975) * refits.se[:, 0]
    gap = np.abs(refits.estimate[:, 0]) / half
    return Answers(np.where(settled, test.p, np.nan), np.where(settled, gap, np.nan))


def naive(heads: pd.DataFrame, responses: FloatArray) -> Answers:
    """Classical analysis of sites' blocks and treatments with heads as replicates."""
    block = heads.groupby(["site", "block"], observed=True).ngroup().to_numpy()
    treatment = heads["treatment"].cat.codes.to_numpy()
    nuisance = np.eye(block.max() + 1)[block]
    x = np.column_stack([nuisance, np.eye(TREATMENTS)[treatment][:, 1:]])
    inverse = np.linalg.inv(x.T @ x)
    coefficients = responses @ x @ inverse
    df = len(heads) - x.shape[1]
    error = ((responses - coefficients @ x.T) ** 2).sum(1) / df
    effects, covariance = coefficients[:, nuisance.shape[1] :], inverse[nuisance.shape[1] :, nuisance.shape[1] :]
    k = TREATMENTS - 1
    f = np.einsum("ni,ij,nj->n", effects, np.linalg.inv(covariance), effects) / k / error
    half = stdtrit(df, 0.975) * np.sqrt(covariance[0, 0] * error)
    return Answers(fdtrc(k, df, f), np.abs(effects[:, 0]) / half)


def run(case: Case) -> dict[str, Tally]:
    """Tally all three ways over the patterns of loss."""
    rng = np.random.default_rng(case.seed)
    tallies = {way: Tally() for way in WAYS}
    patterns, count = (1, BALANCED_RESPONSES) if case.loss == "none" else (PATTERNS, RESPONSES_A_PATTERN)
    for _ in range(patterns):
        heads = trial(case, rng)
        model = derive_model(heads, ["treatment"], ("site:block",))
        responses = draw(case, heads, count, rng)
        for way, answers in (mixed(heads, model, responses) | {WAYS[2]: naive(heads, responses)}).items():
            tallies[way] = tallies[way].add(answers.p, answers.gap)
    return tallies


def cases() -> Iterator[Case]:
    """Every case, by world, loss and size."""
    for world, loss, sites, blocks in product(WORLDS, LOSSES, SITES, BLOCKS):
        yield Case(sites, blocks, loss, world)


def table(rows: list[tuple[Case, dict[str, Tally]]]) -> str:
    """Make a Markdown table of some cases."""
    titles = " | ".join(f"{way}: errors, % | covered, %" for way in WAYS)
    lines = [f"| gardens | blocks | {titles} |", "|---" * (2 + 2 * len(WAYS)) + "|"]
    for case, tallies in rows:
        cells = " | ".join(
            f"{100 * t.rejected / t.drawn:.1f} | {100 * t.held / t.drawn:.1f}" for t in (tallies[way] for way in WAYS)
        )
        lines.append(f"| {case.sites} | {case.blocks} | {cells} |")
    return "\n".join(lines)


def ranges(rows: list[tuple[Case, dict[str, Tally]]]) -> str:
    """Say the least and the greatest error rate of each way."""
    parts = []
    for way in WAYS:
        rates = [100 * tallies[way].rejected / tallies[way].drawn for _, tallies in rows]
        parts.append(f"{way} {min(rates):.1f} to {max(rates):.1f} %")
    return f"Errors: {', '.join(parts)}."


def page(results: list[tuple[Case, dict[str, Tally]]]) -> str:
    """Write the whole page."""
    parts = [PREAMBLE]
    for world, loss in product(WORLDS, LOSSES):
        rows = [(case, tallies) for case, tallies in results if (case.world, case.loss) == (world, loss)]
        drawn = rows[0][1]["free"].drawn
        low, high = (100 * binom.ppf(q, drawn, 0.05) / drawn for q in (0.005, 0.995))
        parts.append(
            f"## {world.capitalize()}; lost: {loss}\n\n{drawn:,} responses a line: where the true rate is 5 %, 99 of "
            f"100 such figures lie between {low:.1f} and {high:.1f} %. {ranges(rows)}\n\n{table(rows)}\n"
        )
    return "\n".join(parts)


PREAMBLE = f"""\
# How often the analysis errs

Made by `python tests/benchmarks/calibration.py` (seed {SEED}). Trials of {TREATMENTS} treatments in randomised
complete blocks, {HEADS} heads a bucket, without any treatment effect. Errors: the share of F tests with p < 0.05,
which should be 5 %. Covered: the share of 95 % intervals of one difference that hold it, which should be 95 %.
"""


def main() -> None:
    """Run every case on the processors there are and print the page."""
    everything = list(cases())
    results = []
    with ProcessPoolExecutor(
        max_workers=os.cpu_count(), initializer=partial(os.environ.update, OMP_NUM_THREADS="1")
    ) as pool:
        for case, tallies in zip(everything, pool.map(run, everything), strict=True):
            results.append((case, tallies))
            print(f"{len(results)}/{len(everything)} {case}", file=sys.stderr, flush=True)
    print(page(results))


if __name__ == "__main__":
    main()

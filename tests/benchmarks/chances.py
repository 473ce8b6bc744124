"""Of what is claimed with 90 in 100 and more, how much comes true: after one trial, and after several.

Run: python tests/benchmarks/chances.py [TRIALS [LEDGERS [SEED]]] > reports/chances.md; progress goes to stderr.
"""

import sys
from dataclasses import dataclass

import invented
import numpy as np
import pandas as pd
from invented import ALL_USABLE, Cell, Spreads, advised, grown, share_with_error, with_error
from scipy.special import ndtr

TRIALS, LEDGERS, SEED = 200, 60, 20270302
CLAIM, MARGIN = 0.9, 10.0
CULTIVARS, DIFFER, BLOCKS = 5, 12.0, 3
GARDENS, GARDEN_SCALE, SEASON_BY = (3, 4, 6, 8), 20.0, 6.0
AFTER, SEASONS, LEDGER_GARDENS, LEDGER_BLOCKS = (1, 2, 3, 5, 8), (3.0, 8.0, 15.0), 3, 2
CELLS = [Cell(i) for i in range(CULTIVARS)]


@dataclass(frozen=True)
class Claims:
    """Of one answer: how many could be made if all were known, were made, come true (expected), and what they said."""

    known: int
    made: int
    true: float
    said: float

    @classmethod
    def of(cls, chance: np.ndarray, truth: np.ndarray) -> "Claims":
        """Count claims by what was said, and what is true or how likely it is."""
        made = chance >= CLAIM
        return cls(int((truth >= CLAIM).sum()), int(made.sum()), float(truth[made].sum()), float(chance[made].sum()))


@dataclass(frozen=True)
class Told:
    """Claims of an answer: better, or worse, than the practice in a new garden and season; near the best."""

    better: Claims
    near: Claims


def told(rows: pd.DataFrame, truth: np.ndarray, spreads: Spreads, seed: int) -> Told:
    """Judge as the product does, and set beside the truth."""
    candidates = advised(rows, CELLS[0], seed).decision.candidates
    gain = truth - truth[0]
    elsewhere = np.sqrt(2 * (spreads.garden_by**2 + spreads.lasting**2 + spreads.season_by**2))
    comes_true = ndtr(gain / elsewhere)
    chance, true = [], []
    for one in candidates:
        if one.probability_better is not None:
            at = Cell.of(one.treatment).cultivar
            chance += [one.probability_better, 1 - one.probability_better]
            true += [comes_true[at], 1 - comes_true[at]]
    near = np.array([truth[Cell.of(one.treatment).cultivar] >= truth.max() - MARGIN for one in candidates])
    return Told(
        Claims.of(np.array(chance), np.array(true)),
        Claims.of(np.array([one.probability_near_best for one in candidates]), near),
    )


def one_trial(job: tuple[int, int]) -> Told:
    """A trial at so many gardens."""
    gardens, seed = job
    rng = np.random.default_rng([seed, gardens])
    spreads = Spreads(garden_by=abs(rng.normal(0, GARDEN_SCALE)) / np.sqrt(2), season_by=SEASON_BY)
    truth = 140 + rng.normal(0, DIFFER, CULTIVARS)
    sites = [str(one) for one in range(gardens)]
    rows = grown(rng, "S", sites, BLOCKS, CELLS, truth, np.full(CULTIVARS, ALL_USABLE), spreads)
    return told(rows, truth, spreads, seed)


def ledger(job: tuple[float, int]) -> list[Told]:
    """Trials of several seasons, judged after some of them."""
    season, seed = job
    rng = np.random.default_rng([seed, int(season)])
    spreads, truth = Spreads(season_by=season), 140 + rng.normal(0, DIFFER, CULTIVARS)
    trials, found = [], []
    for number in range(1, max(AFTER) + 1):
        sites = [f"{number}_{one}" for one in range(LEDGER_GARDENS)]
        share = np.full(CULTIVARS, ALL_USABLE)
        trials.append(grown(rng, f"S{number}", sites, LEDGER_BLOCKS, CELLS, truth, share, spreads))
        if number in AFTER:
            found.append(told(pd.concat(trials, ignore_index=True), truth, spreads, seed))
    return found


def line(name: str, some: list[Told]) -> str:
    """Row of a table."""
    cells = []
    for claims in ([one.better for one in some], [one.near for one in some]):
        made, true = np.array([one.made for one in claims]), np.array([one.true for one in claims])
        said = sum(one.said for one in claims) / max(made.sum(), 1)
        known = np.mean([one.known for one in claims])
        cells += [
            f"{known:.2f}",
            with_error(made, 2),
            f"{100 * said:.1f}" if made.sum() else "none",
            share_with_error(true, made),
        ]
    return f"| {name} | {len(some)} | {' | '.join(cells)} |"


HEAD = (
    "| {} | answers | better or worse: known | claims an answer | say, % | come true, % "
    "| near the best: known | claims an answer | say, % | come true, % |\n" + "|---" * 10 + "|"
)
PREAMBLE = """\
# Of what is claimed with 90 in 100 and more, how much comes true

Made by `python tests/benchmarks/chances.py {trials} {ledgers} {seed}`. There are {cultivars} cultivars, the first of
them the practice. Their true means differ with a standard deviation of {differ:g} g. Seasons differ in level by 10 g,
gardens by 12 g, buckets by 15 g and heads of a bucket by 20 g. Every answer is that of `advise` with a protocol's
usual rule.

Claims of "better" say that a cultivar does better than the practice in a new garden and season. With a chance of at
most 10 in 100, they say that it does not. Beside them is the true chance of it in a garden and season drawn anew.
Claims of "near the best" say that a cultivar is within {margin:g} g of the best of all, on average over gardens and
seasons. Beside them is whether that is so. "Known" is how many claims an answer would make if it knew all true means
and spreads. ± is the Monte-Carlo standard error.

Aims: 90 % of the claims come true, at every number of gardens and after every number of trials.

## One trial

Each garden has {blocks} blocks. What gardens do to a gain has a standard deviation, drawn in each trial from a
half-normal of scale {garden:g} g. Seasons favour cultivars with {season:g} g.
"""
SEVERAL = """
## Several trials

A trial of all five cultivars a season, in {gardens} gardens with {blocks} blocks, new ones each year. Gardens favour
cultivars with 3 g, and seasons with 3, 8 or 15 g.
"""


def main() -> None:
    """Run and print the page."""
    trials, ledgers, seed = invented.asked_for(TRIALS, LEDGERS, SEED)
    jobs = [(gardens, seed + i) for gardens in GARDENS for i in range(trials)]
    found = invented.run(one_trial, jobs)
    print(
        PREAMBLE.format(
            trials=trials, ledgers=ledgers, seed=seed, cultivars=CULTIVARS, differ=DIFFER, margin=MARGIN,
            blocks=BLOCKS, garden=GARDEN_SCALE, season=SEASON_BY,
        )
    )  # fmt: skip
    print(HEAD.format("gardens"))
    for gardens in GARDENS:
        print(line(str(gardens), [one for one, job in zip(found, jobs, strict=True) if job[0] == gardens]))
    print(line("all", found), flush=True)
    print("several trials", file=sys.stderr)
    pairs = [(season, seed + 50_000 + i) for season in SEASONS for i in range(ledgers)]
    paths = invented.run(ledger, pairs)
    print(SEVERAL.format(gardens=LEDGER_GARDENS, blocks=LEDGER_BLOCKS))
    print(HEAD.format("trials, what seasons do"))
    for place, number in enumerate(AFTER):
        print(line(f"{number}, all", [path[place] for path in paths]))
        for season in SEASONS:
            own = [path[place] for path, job in zip(paths, pairs, strict=True) if job[0] == season]
            print(line(f"{number}, {season:g} g", own))


if __name__ == "__main__":
    main()

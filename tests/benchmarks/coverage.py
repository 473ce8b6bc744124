"""Do intervals of 95 % hold the truth: of gains over several trials, and of gains by the dose curve of one.

Run: python tests/benchmarks/coverage.py [LEDGERS [TRIALS [SEED]]] > reports/coverage.md; progress goes to stderr.
"""

import sys
from typing import NamedTuple

import invented
import numpy as np
import pandas as pd
from invented import ALL_USABLE, CURVES, GRID, Cell, Land, Spreads, advised, grown, share_with_error, with_error

LEDGERS, TRIALS, SEED = 80, 400, 20270304
CULTIVARS, DIFFER, GARDENS, BLOCKS = 4, 12.0, 4, 2
AFTER = (2, 3, 5, 8)
POOLED = Spreads(garden_by=3.0, season_by=5.0, lasting=8.0)
CELLS = [Cell(i) for i in range(CULTIVARS)]
DOSES, DOSE_BLOCKS, GAIN = (2.0, 4.0, 6.0, 8.0), 3, 40.0
ONE_TRIAL = Spreads(garden_by=5.0, season_by=4.0)


class Held(NamedTuple):
    """Intervals of an answer: how many there were and held the truth, their mean width and that of the errors, g."""

    intervals: int
    held: int
    width: float
    error: float


def ledger(job: tuple[bool, int]) -> list[Held]:
    """Trials of several seasons at the same gardens or at new ones, judged after some of them."""
    shared, seed = job
    rng = np.random.default_rng([seed, 3])
    truth, land = 140 + rng.normal(0, DIFFER, CULTIVARS), Land(rng, POOLED)
    trials, found = [], []
    for number in range(1, max(AFTER) + 1):
        sites = [f"{0 if shared else number}_{one}" for one in range(GARDENS)]
        share = np.full(CULTIVARS, ALL_USABLE)
        trials.append(grown(rng, f"S{number}", sites, BLOCKS, CELLS, truth, share, POOLED, land))
        if number in AFTER:
            candidates = advised(pd.concat(trials, ignore_index=True), CELLS[0], seed).decision.candidates
            gains = [(Cell.of(one.treatment).cultivar, one.gain) for one in candidates if one.gain]
            true = np.array([truth[at] - truth[0] for at, _ in gains])
            found.append(
                held(true, *(np.array([getattr(g, w) for _, g in gains]) for w in ("estimate", "lower", "upper")))
            )
    return found


def held(true: np.ndarray, estimate: np.ndarray, lower: np.ndarray, upper: np.ndarray) -> Held:
    """Count intervals."""
    inside = (lower <= true) & (true <= upper)
    return Held(len(true), int(inside.sum()), float((upper - lower).mean()), float((estimate - true).mean()))


def dose_trial(job: tuple[str, int]) -> tuple[Held, Held, float]:
    """Gains by the curve over the least dose: of every dose on half spoons, of the one recommended; its regret."""
    kind, seed = job
    rng = np.random.default_rng([seed, 4])
    shape, cells = invented.shape_of(kind, rng), [Cell(0, -1, dose) for dose in DOSES]
    weight = 110 + GAIN * invented.curve(kind, shape, np.array(DOSES))
    sites = [str(one) for one in range(GARDENS)]
    rows = grown(rng, "S", sites, DOSE_BLOCKS, cells, weight, np.full(len(cells), ALL_USABLE), ONE_TRIAL)
    advice = advised(rows, cells[0], seed)
    dose = np.array([one.dose_tsp for one in advice.asked.treatments], float)
    true = GAIN * invented.curve(kind, shape, dose)
    limits = np.array([np.quantile(advice.prospects.yield_gains(i), [0.025, 0.975]) for i in range(len(dose))])
    estimate = advice.prospects.yield_g - advice.prospects.yield_g[advice.asked.practice]
    every, chosen = dose > DOSES[0], advice.asked.treatments.index(advice.decision.recommended)
    one = np.arange(len(dose)) == chosen
    best = GAIN * invented.curve(kind, shape, GRID).max()
    return (
        held(true[every], estimate[every], *limits[every].T),
        held(true[one & every], estimate[one & every], *limits[one & every].T) if chosen else Held(0, 0, 0.0, 0.0),
        float(best - true[chosen]),
    )


def told(some: list[Held]) -> str:
    """Cells of a table."""
    known = [one for one in some if one.intervals]
    held_by = share_with_error(np.array([one.held for one in known]), np.array([one.intervals for one in known]))
    return f"{held_by} | {np.mean([one.width for one in known]):.0f} | {with_error(one.error for one in known)}"


PREAMBLE = """\
# Do the intervals hold?

Made by `python tests/benchmarks/coverage.py {ledgers} {trials} {seed}`. Intervals of 95 % are set beside the truth.
They are of gains over the practice, on average over gardens and seasons, as `advise` gives them. Seasons differ in
level by 10 g, gardens by 12 g, buckets by 15 g and heads of a bucket by 20 g. "Too high" is by how much gains are
claimed beyond the truth, g a transplanted head. ± is the Monte-Carlo standard error.

Aims: 93 to 97 % hold. Where the curve has a corner, 90 %.

## Several trials

{cultivars} cultivars have true means that differ by {differ:g} g. A trial of all of them is made each season, in
{gardens} gardens with {blocks} blocks: the same gardens every year, or new ones. A garden favours cultivars with 8 g
every year, and with 3 g more in each. Seasons favour them with 5 g. There are {ledgers} ledgers, with 3 gains each.

| trials | the same gardens: held, % | width, g | too high, g | new gardens: held, % | width, g | too high, g |
|---|---|---|---|---|---|---|"""
DOSE = """
## The dose curve of one trial

Doses of 2, 4, 6 and 8 teaspoons are tried in {gardens} gardens with {blocks} blocks. The true curve gains {gain:g} g
over the least dose, which is the practice. A peak, plateau or corner is drawn from 4 to 8 teaspoons, the rate of a
saturation from 0.25 to 0.7. What gardens do to a gain over the whole range differs by 7 g, and what seasons do by 6
g. "Every dose" is one on half spoons above the least. "Given up" is by the dose recommended. There are {trials}
trials in all, each kind in turn.

| curve | every dose: held, % | width, g | too high, g | recommended: held, % | width, g | too high, g | given up, g |
|---|---|---|---|---|---|---|---|"""


def main() -> None:
    """Run and print the page."""
    ledgers, trials, seed = invented.asked_for(LEDGERS, TRIALS, SEED)
    names = {"ledgers": ledgers, "trials": trials, "seed": seed, "gardens": GARDENS}
    jobs = [(shared, seed + i) for i in range(ledgers) for shared in (True, False)]
    paths = invented.run(ledger, jobs)
    print(PREAMBLE.format(**names, cultivars=CULTIVARS, differ=DIFFER, blocks=BLOCKS))
    for place, number in [*enumerate(AFTER), (None, "all")]:
        row = []
        for wanted in (True, False):
            own = [path for path, (shared, _) in zip(paths, jobs, strict=True) if shared == wanted]
            row.append(told([one for path in own for one in (path if place is None else [path[place]])]))
        print(f"| {number} | {' | '.join(row)} |", flush=True)
    print("the dose curve", file=sys.stderr)
    asked = [(CURVES[i % len(CURVES)], seed + 10_000 + i) for i in range(trials)]
    found = invented.run(dose_trial, asked)
    print(DOSE.format(**names, blocks=DOSE_BLOCKS, gain=GAIN))
    for kind in ("all", *CURVES):
        own_found = [one for one, job in zip(found, asked, strict=True) if kind in ("all", job[0])]
        every, chosen = ([one[i] for one in own_found] for i in (0, 1))
        print(f"| {kind} | {told(every)} | {told(chosen)} | {with_error((one[2] for one in own_found), 2)} |")


if __name__ == "__main__":
    main()

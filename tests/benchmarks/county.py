"""Ten seasons of an invented county: what its default yields, season by season, under three rules.

Run: python tests/benchmarks/county.py [COUNTIES] > reports/county.md (a quarter of an hour for 200 counties).

Each county has its own truth: six practices whose true means differ, seasons and gardens that favour some of them,
and one practice that it starts with. Every season it runs one trial of three gardens with two blocks, of the present
default and two others. The tool's rule pools all trials so far and judges them as `trialkit recommend` does, and its
next trial sets beside the default the two practices that are likeliest to beat it (one that was never tried before any
other). The rules beside it see the same kind of trial: "always keep" never changes, and "follow the last trial" takes
whatever had the greatest mean in the last one.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from trialkit.analysis.decision import CandidateField, choose, weigh
from trialkit.analysis.draws import draw_means
from trialkit.analysis.worth import Worth
from trialkit.documents.findings import Thresholds
from trialkit.domain.errors import NotComputed
from trialkit.domain.treatment import Treatment
from trialkit.evidence.judging import tried_enough
from trialkit.evidence.pooling import GROUPINGS, pool, with_treatments

SEASONS, COUNTIES, SEED = 10, 200, 20261128
SURE = 0.9
PRACTICES, TRIED, GARDENS, BLOCKS = 6, 3, 3, 2
SPREAD, SEASON, GARDEN, SEASON_BY, GARDEN_BY, BUCKET = 12.0, 10.0, 12.0, 3.0, 3.0, 18.0
"""Standard deviations, g per transplanted head: true means, levels of seasons and gardens, what both favour,
buckets."""
MARGINS = {"this tool, margin 10 g": 10.0, "this tool, margin 5 g": 5.0, "this tool, margin 0": 0.0}
RULES = (*MARGINS, "always keep", "follow the last trial")


@dataclass
class County:
    """A county's truth."""

    seed: int
    rng: np.random.Generator = field(init=False)
    truth: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.rng = np.random.Generator(np.random.PCG64(self.seed))
        self.truth = 140 + self.rng.normal(0, SPREAD, PRACTICES)

    def trial(self, season: int, practices: list[int]) -> pd.DataFrame:
        """Buckets of one trial."""
        rng, rows = self.rng, []
        level, favours = rng.normal(0, SEASON), rng.normal(0, SEASON_BY, PRACTICES)
        for garden in range(GARDENS):
            here, liked = rng.normal(0, GARDEN), rng.normal(0, GARDEN_BY, PRACTICES)
            for block in range(BLOCKS):
                for p in practices:
                    mean = self.truth[p] + level + favours[p] + here + liked[p]
                    rows.append((f"S{season:02d}", f"G{garden}", str(block), f"P{p}", mean + rng.normal(0, BUCKET)))
        return pd.DataFrame(rows, columns=["trial", "site", "block", "cultivar", "yield_g"])


def whole(rows: pd.DataFrame) -> pd.DataFrame:
    """With the columns that every row of the pool has."""
    made = rows.assign(
        bucket=[str(i) for i in range(len(rows))],
        whole_plot="", dose_tsp=4.0, n_mg_l=90.0, acidifier="none", planned=4, recorded=4, usable=4,
    )  # fmt: skip
    made["trial"] = made["trial"].astype("category")
    made["trial_site"] = (made["trial"].astype(str) + "/" + made["site"]).astype("category")
    return made


def judged(rows: pd.DataFrame, default: int, margin: float, seed: int) -> tuple[int, list[int]]:
    """The default after these trials, and the practices in the order in which they are likeliest to beat it."""
    labelled, treatments = with_treatments(whole(rows), {})
    names = {str(row["cultivar"]): str(label) for label, row in treatments.iterrows()}
    pooled = pool(labelled, treatments, names[f"P{default}"])
    labels = list(pooled.treatments.index)
    practices = [int(str(pooled.treatments.loc[label, "cultivar"])[1:]) for label in labels]
    df = float(pooled.fit.compare("treatment", "versus", pooled.current, "none")["df"].min())
    if df < 2:
        return default, practices
    draws = draw_means(pooled.fit, pooled.treatments[["cultivar"]], df, seed, among=GROUPINGS)
    current, n = labels.index(pooled.current), len(labels)
    candidates = CandidateField(
        treatments=tuple(Treatment(f"P{p}") for p in practices),
        current=current,
        yields=draws,
        days=None,
        usable=(1.0,) * n,
        unrecorded=(0.0,) * n,
        eligible=tuple(i == current or tried_enough(pooled, label) for i, label in enumerate(labels)),
        buckets=(1,) * n,
    )
    value = Worth("g per transplanted head", 1.0, np.zeros(n), 0.0, np.zeros(n, bool), np.zeros(n), "nutrient", ())
    thresholds = Thresholds(margin, margin, SURE, 0.95, None, 0.0, 0.0)
    chances = weigh(candidates, value, thresholds)
    at, _ = choose(chances, np.array(candidates.eligible), value, current, SURE)
    chosen = practices[at]
    ahead = (draws.garden > draws.garden[:, [practices.index(chosen)]]).mean(0)
    order = [p for _, p in sorted(zip(-ahead, practices, strict=True)) if p != chosen]
    return chosen, order


def seasons_of(seed: int) -> np.ndarray:
    """Regret of each rule after each season, shape (rules, seasons + 1), g per transplanted head below the best."""
    found = np.empty((len(RULES), SEASONS + 1))
    for rule, name in enumerate(RULES):
        county = County(seed)
        best, default = county.truth.max(), int(np.argsort(county.truth)[PRACTICES // 2 - 1])
        found[rule, 0] = best - county.truth[default]
        rows, order = pd.DataFrame(), [p for p in range(PRACTICES) if p != default]
        for season in range(SEASONS):
            others = [p for p in order if p != default][: TRIED - 1]
            trial = county.trial(season, sorted([default, *others]))
            rows = pd.concat([rows, trial], ignore_index=True)
            if name == "follow the last trial":
                default = int(str(trial.groupby("cultivar")["yield_g"].mean().idxmax())[1:])
                order = order[TRIED - 1 :] + order[: TRIED - 1]
            elif name in MARGINS:
                try:
                    default, known = judged(rows, default, MARGINS[name], seed + season)
                except NotComputed:
                    known = []
                never = [p for p in range(PRACTICES) if f"P{p}" not in set(rows["cultivar"])]
                order = [*never, *known]
            found[rule, season + 1] = best - county.truth[default]
    return found


def main() -> None:
    """Print the table."""
    counties = int(sys.argv[1]) if len(sys.argv) > 1 else COUNTIES
    with ProcessPoolExecutor() as executor:
        every = np.array(list(executor.map(seasons_of, range(SEED, SEED + counties), chunksize=2)))
    mean, error = every.mean(0), every.std(0, ddof=1) / np.sqrt(counties)
    print("# What the default gives up, over ten seasons\n")
    print(
        f"{counties} invented counties (`python tests/benchmarks/county.py`, seed {SEED}), each with {PRACTICES}\n"
        f"practices whose true means differ with a standard deviation of {SPREAD:g} g per transplanted head;\n"
        "the default\n"
        f"begins as the third best from the bottom. Every season one trial of {TRIED} practices at {GARDENS} gardens\n"
        f"with {BLOCKS} blocks; seasons and gardens favour practices with {SEASON_BY:g} and {GARDEN_BY:g} g, buckets\n"
        f"differ by {BUCKET:g} g. Regret is how much the default's true mean lies below that of the best practice,\n"
        "with its Monte Carlo standard error. The tool adopts what gains the margin in a new garden and season with a\n"
        f"chance of {100 * SURE:g} in 100.\n"
    )
    print("Regret, g per transplanted head:\n")
    print("| after season | " + " | ".join(RULES) + " |")
    print("|---|" + "---|" * len(RULES))
    for season in range(SEASONS + 1):
        cells = [f"{mean[rule, season]:.1f} ± {error[rule, season]:.1f}" for rule in range(len(RULES))]
        print(f"| {season} | {' | '.join(cells)} |")
    print("\nAnd how the changes went:\n")
    print("| rule | changes a county | of these for the worse, % | seasons with a default worse than the first, % |")
    print("|---|---|---|---|")
    for rule, name in enumerate(RULES):
        steps = np.diff(every[:, rule], axis=1)
        changes, worse = (np.abs(steps) > 1e-9).sum(), (steps > 1e-9).sum()
        behind = (every[:, rule, 1:] > every[:, rule, :1] + 1e-9).mean()
        share = f"{100 * worse / changes:.0f}" if changes else "none"
        print(f"| {name} | {changes / counties:.1f} | {share} | {100 * behind:.1f} |")
    summed = every[:, :, 1:].mean((0, 2))
    print(
        "\nMean regret over the ten seasons: "
        + "; ".join(f"{n} {r:.1f} g" for n, r in zip(RULES, summed, strict=True))
        + "."
    )


if __name__ == "__main__":
    main()

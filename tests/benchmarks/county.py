"""Ten seasons of invented counties: what the default gives up, season by season, under the tool and three rivals.

Run: python tests/benchmarks/county.py [COUNTIES [SEED]] > reports/county.md; progress goes to stderr.
"""

import itertools
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field

import invented
import numpy as np
import pandas as pd
from invented import ALL_USABLE, GRID, Cell, Spreads, advised, grown, share_with_error, with_error

from trialkit.domain.arrays import FloatArray

COUNTIES, SEED, SEASONS = 60, 20270301, 10
GARDENS, BLOCKS = 3, 2
DOSES = (2.0, 4.0, 6.0, 8.0)
TOOL, KEEP, LAST, POOLED = "this tool", "always keep", "follow the last trial", "best pooled mean"
RULES = (TOOL, KEEP, LAST, POOLED)


@dataclass(frozen=True)
class Scenario:
    """A kind of county.

    Attributes
    ----------
    differ : float
        Standard deviation of the true means of practices (of cultivars, in a factorial), g.
    spreads : Spreads
    losses : float
        Standard deviation of the logits of the practices' usable shares; 0 where no head is lost.
    factorial : bool
        Whether practices are 2 cultivars x 4 doses x 2 acids, with a curve over the doses.
    tried : int
        Practices in a trial.
    """

    differ: float = 12.0
    spreads: Spreads = field(default_factory=Spreads)
    losses: float = 0.0
    factorial: bool = False
    tried: int = 3


SCENARIOS: Mapping[str, Scenario] = {
    "today": Scenario(),
    "seasons": Scenario(spreads=Spreads(season_by=8.0)),
    "gardens": Scenario(spreads=Spreads(garden_by=15.0)),
    "factorial": Scenario(factorial=True, tried=6),
    "alike": Scenario(differ=0.0),
    "losses": Scenario(losses=1.0, spreads=Spreads(bucket_logit=0.6)),
}
TOLD: Mapping[str, str] = {
    "today": "Seasons and gardens favour cultivars with 3 g",
    "seasons": "Seasons favour cultivars with 8 g",
    "gardens": "Gardens favour cultivars with 15 g",
    "factorial": "2 cultivars x 4 doses x 2 acids, with a curve over the doses",
    "alike": "Practices that do not differ",
    "losses": "Losses that differ between practices",
}


class County:
    """A county's truth."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.scenario, self.seed = scenario, seed
        rng = np.random.default_rng([seed, 0])
        if scenario.factorial:
            self.practices = [Cell(c, a, d) for c, a, d in itertools.product(range(2), range(2), DOSES)]
            self.cultivar, self.acid = rng.normal(0, scenario.differ, 2), rng.normal(0, 6.0, 2)
            self.kind = invented.CURVES[rng.integers(len(invented.CURVES))]
            self.shape, self.gains = invented.shape_of(self.kind, rng), rng.normal(20.0, 12.0)
            self.together = rng.normal(0, 3.0, (2, 2))
        else:
            self.practices = [Cell(c) for c in range(6)]
            self.cultivar = rng.normal(0, scenario.differ, 6)
        logit = 2.0 + scenario.losses * rng.standard_normal(len(self.practices))
        self.share = 1 / (1 + np.exp(-logit)) if scenario.losses else np.full(len(self.practices), ALL_USABLE)
        value = self.value(self.practices)
        self.first = self.practices[int(np.argsort(value, kind="stable")[len(value) // 2 - 1])]
        spoons = [Cell(c, a, d) for c, a, d in itertools.product(range(2), range(2), GRID)]
        self.best = float(max(value.max(), self.value(spoons).max() if scenario.factorial else -np.inf))

    def weight(self, cells: list[Cell]) -> FloatArray:
        """True mean weight of a usable head."""
        found = np.array([140.0 + self.cultivar[one.cultivar] for one in cells])
        if self.scenario.factorial:
            found = found + [self.acid[one.acidifier] + self.together[one.cultivar, one.acidifier] for one in cells]
            found = found + self.gains * invented.curve(self.kind, self.shape, np.array([one.dose for one in cells]))
        return found

    def usable(self, cells: list[Cell]) -> FloatArray:
        """True chance of a head in a bucket like most."""
        if not self.scenario.losses:
            return np.full(len(cells), ALL_USABLE)
        return np.array([self.share[one.cultivar] for one in cells])

    def value(self, cells: list[Cell]) -> FloatArray:
        """True mean of a transplanted head."""
        if not self.scenario.losses:
            return self.weight(cells)
        return self.weight(cells) * invented.mean_share(self.usable(cells), self.scenario.spreads)

    def trial(self, season: int, cells: list[Cell]) -> pd.DataFrame:
        """Buckets of one season's trial, with the practice that each had."""
        rng = np.random.default_rng([self.seed, 1, season])
        sites = [f"{season}_{garden}" for garden in range(GARDENS)]
        spreads = self.scenario.spreads
        rows = grown(rng, f"S{season:02d}", sites, BLOCKS, cells, self.weight(cells), self.usable(cells), spreads)
        return rows.assign(yield_g=invented.yields(rows), practice=[cells[i] for i in rows["cell"]])

    def beginning(self) -> list[Cell]:
        """What the first trial sets beside the first default: in a factorial, one factor changed at a time."""
        others = [one for one in self.practices if one != self.first]
        if self.scenario.factorial:
            others.sort(key=lambda one: sum(x != y for x, y in zip(one, self.first, strict=True)))
        return others


def last_mean(trials: list[pd.DataFrame]) -> pd.Series:
    """Mean yields in the last trial."""
    return trials[-1].groupby("practice", sort=False)["yield_g"].mean()


def pooled_mean(trials: list[pd.DataFrame]) -> pd.Series:
    """Mean yields over all trials, their levels taken out by least squares."""
    rows = pd.concat(trials)
    practice, names = pd.factorize(rows["practice"])
    season = pd.factorize(rows["trial"])[0]
    design = np.hstack([np.eye(len(names))[practice], np.eye(season.max() + 1)[season][:, 1:]])
    return pd.Series(np.linalg.lstsq(design, rows["yield_g"].to_numpy(), rcond=None)[0][: len(names)], index=names)


Season = tuple[Cell, list[Cell]]


def judged(trials: list[pd.DataFrame], default: Cell, county: County, season: int) -> tuple[Season, float]:
    """The tool's default, what it would try next, and the gain that it claims for a change."""
    rows = pd.concat(trials, ignore_index=True).drop(columns=["yield_g", "practice"])
    advice = advised(rows, default, season)
    worth = {Cell.of(one): known for one, known in advice.worth_of_knowing().items()}
    new = Cell.of(advice.decision.recommended)
    gain = advice.decision.chosen.gain
    # A level that no trial had comes first; among the rest, what it is worth most to know.
    order = sorted(county.practices, key=lambda one: -worth.get(one, np.inf))
    return (new, order), gain.estimate if gain else 0.0


def decade(job: tuple[str, int]) -> dict[str, FloatArray]:
    """Regret of each rule after each season, shape (seasons + 1,); changes; claimed and true gains of the tool's."""
    name, seed = job
    county, found = County(SCENARIOS[name], seed), {}
    claims = []
    for rule in RULES:
        default, order, trials = county.first, county.beginning(), []
        path = [county.first]
        for season in range(SEASONS):
            if rule == KEEP:
                path.append(default)
                continue
            others = [one for one in order if one != default][: county.scenario.tried - 1]
            trials.append(county.trial(season, [default, *others]))
            if rule == TOOL:
                (new, order), claimed = judged(trials, default, county, season)
                if new != default:
                    claims.append((claimed, *(county.value([new]) - county.value([default]))))
            else:
                means = last_mean(trials) if rule == LAST else pooled_mean(trials)
                new = means.idxmax()
                never = [one for one in order if one not in means.index]
                known = means.sort_values(ascending=False).index.tolist()
                order = [*never, *[one for one in order if one in means.index]] if rule == LAST else [*never, *known]
                if rule == LAST:
                    order = [one for one in order if one not in others] + others
            default = new
            path.append(default)
        found[rule] = county.best - county.value(path)
        found[rule, "changes"] = np.array([x != y for x, y in itertools.pairwise(path)])
    found["claims"] = np.array(claims).reshape(-1, 2)
    return found


def page(name: str, every: list[dict[str, FloatArray]]) -> list[str]:
    """Lines of a scenario."""
    regret = {rule: np.array([one[rule] for one in every]) for rule in RULES}
    lines = [f"\n## {TOLD[name]}\n", "| after season | " + " | ".join(RULES) + " |", "|---|" + "---|" * len(RULES)]
    lines += [
        f"| {season} | " + " | ".join(with_error(regret[rule][:, season]) for rule in RULES) + " |"
        for season in range(SEASONS + 1)
    ]
    lines.append("| mean of 1 to 10 | " + " | ".join(with_error(regret[r][:, 1:].mean(1), 2) for r in RULES) + " |")
    ahead = [with_error((regret[TOOL] - regret[rule])[:, 1:].mean(1), 2) if rule != TOOL else "–" for rule in RULES]
    lines.append("| tool less rival | " + " | ".join(ahead) + " |")
    lines += ["", "| rule | changes a county | of these for the worse, % | by more than 3 g, % |", "|---|---|---|---|"]
    for rule in RULES:
        changed = np.array([one[rule, "changes"] for one in every], float)
        steps = np.diff(regret[rule], axis=1)
        worse = [share_with_error(((steps > by) * changed).sum(1), changed.sum(1)) for by in (1e-9, 3.0)]
        lines.append(f"| {rule} | {with_error(changed.sum(1), 2)} | {' | '.join(worse)} |")
    claims = np.concatenate([one["claims"] for one in every])
    if len(claims) > 1:
        lines.append(
            f"\nThe tool's {len(claims)} changes claimed {with_error(claims[:, 0])} g and gained "
            f"{with_error(claims[:, 1])} g; claimed less true gain: {with_error(claims[:, 0] - claims[:, 1])} g."
        )
    return lines


PREAMBLE = """\
# What the default gives up, over ten seasons

Made by `python tests/benchmarks/county.py {counties} {seed}`, with {counties} invented counties a scenario. A county
begins with a default just below the middle of its practices. Every season has one trial, in {gardens} new gardens
with {blocks} blocks. It tries the default and two other practices (five in the factorial).

True means of six cultivars differ with a standard deviation of 12 g a transplanted head. Seasons differ in level by
10 g, gardens by 12 g, buckets by 15 g and heads of a bucket by 20 g. Seasons and gardens favour cultivars with 3 g,
unless it is said otherwise. In the factorial, they favour cultivar, acid and slope of dose. Acids there differ by 6
g, and pairs of cultivar and acid by 3 g more. The curve, of a random kind and shape, gains 20 g on average (standard
deviation 12 g). Where losses differ, the logits of the usable shares differ by 1.0 about 2.0 between practices, and
by 0.6 between buckets. No rule is told any variance.

The tool judges all trials so far with `advise`, as it judges a ledger, with a protocol's usual rule. Next it tries
what it is worth most to know. The rivals see the same kind of trial and the same luck, and first try what was never
tried. "Follow the last trial" takes its greatest mean. "Best pooled mean" takes the greatest over all trials, with
their levels taken out by least squares. Regret is how far the default's true mean is below the best, g a transplanted
head, ± Monte-Carlo standard error. In the factorial, that is the best of all doses on half spoons, which only the
tool can choose.

Aims in the first scenario: a mean regret of at most 2.6 g, and of at most 0.9 g after the tenth season. At most 12 %
of its changes are for the worse. Aims in all scenarios: nowhere behind a rival. Aims where practices do not differ:
fewer than 0.3 changes a county."""


def main() -> None:
    """Run and print the page."""
    counties, seed = invented.asked_for(COUNTIES, SEED)
    print(PREAMBLE.format(counties=counties, seed=seed, gardens=GARDENS, blocks=BLOCKS))
    for place, name in enumerate(SCENARIOS):
        print(TOLD[name], file=sys.stderr)
        jobs = [(name, seed + 100_000 * place + i) for i in range(counties)]
        print("\n".join(page(name, invented.run(decade, jobs))), flush=True)


if __name__ == "__main__":
    main()

"""What the answer of one trial is worth: 2 cultivars x 4 doses x 2 acids at four gardens, beside simpler rules.

Run: python tests/benchmarks/verdicts.py [TRIALS [SEED]] > reports/verdicts.md; progress goes to stderr.
"""

import itertools
import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace

import invented
import numpy as np
import pandas as pd
from invented import ALL_USABLE, GRID, Cell, Spreads, advised, grown, with_error
from scipy.special import stdtrit

from trialkit.domain.arrays import FloatArray

TRIALS, SEED = 100, 20270303
GARDENS, BLOCKS = 4, 3
DOSES = (2.0, 4.0, 6.0, 8.0)
CELLS = [Cell(c, a, d) for c, a, d in itertools.product(range(2), range(2), DOSES)]
"""The first is the practice: the first cultivar and acid at the least dose."""
SPREADS = Spreads(garden_by=3.0, season_by=0.0)
CULTIVAR, ACID, GAIN, GAIN_SD, INTERACTION = 12.0, 6.0, 30.0, 10.0, 5.0
USUAL_LOGIT, DOSE_LOSS, CULTIVAR_LOSS = 3.5, (-0.3, 0.15), 0.6
SPREADS_OF: Mapping[str, Spreads] = {
    "losses": replace(SPREADS, bucket_logit=0.6, garden_logit=0.5),
    "seasons": replace(SPREADS, season_by=5.0),
}
TOOL, KEEP, BEST, TESTED, ADDITIVE = (
    "this tool",
    "always keep",
    "best cell mean",
    "best cell mean, if tested better",
    "best by main effects",
)
RULES = (TOOL, KEEP, BEST, TESTED, ADDITIVE)
TRUTHS: Mapping[str, str] = {
    "additive": "Additive, a saturating curve over the doses",
    "curve": "Additive, a curve of any kind and shape",
    "losses": "Losses that differ between cultivars and doses",
    "interactions": "Interactions: each combination by 5 g more or less",
    "seasons": "Additive, and seasons favour cultivars, acids and doses by 5 g",
}


class Truth:
    """Of one trial."""

    def __init__(self, name: str, rng: np.random.Generator) -> None:
        self.kind = "saturation" if name != "curve" else invented.CURVES[rng.integers(len(invented.CURVES))]
        self.shape, self.gains = invented.shape_of(self.kind, rng), rng.normal(GAIN, GAIN_SD)
        self.cultivar, self.acid = CULTIVAR * rng.standard_normal(2), ACID * rng.standard_normal(2)
        together = INTERACTION * rng.standard_normal((2, 2, len(DOSES)))
        self.together = together if name == "interactions" else np.zeros_like(together)
        per_tsp, by_cultivar = rng.normal(*DOSE_LOSS), CULTIVAR_LOSS * rng.standard_normal(2)
        self.losses, self.per_tsp, self.by_cultivar = name == "losses", per_tsp, by_cultivar
        self.spreads = SPREADS_OF.get(name, SPREADS)
        everything = [Cell(c, a, d) for c, a, d in itertools.product(range(2), range(2), GRID)]
        self.best = float(self.value(everything).max())

    def weight(self, cells: list[Cell]) -> FloatArray:
        """True mean weight of a usable head."""
        dose = np.array([one.dose for one in cells])
        parts = [
            self.cultivar[c] + self.acid[a] + np.interp(d, DOSES, self.together[c, a])
            for c, a, d in cells
        ]  # fmt: skip
        return np.asarray(110.0 + np.array(parts) + self.gains * invented.curve(self.kind, self.shape, dose))

    def usable(self, cells: list[Cell]) -> FloatArray:
        """True chance of a head in a bucket like most."""
        if not self.losses:
            return np.full(len(cells), ALL_USABLE)
        logit = [USUAL_LOGIT + self.per_tsp * (one.dose - DOSES[0]) + self.by_cultivar[one.cultivar] for one in cells]
        return 1 / (1 + np.exp(-np.array(logit)))

    def value(self, cells: list[Cell]) -> FloatArray:
        """True mean of a transplanted head."""
        return self.weight(cells) * invented.mean_share(self.usable(cells), self.spreads)


@dataclass(frozen=True)
class Answer:
    """Squared errors of gains by way of estimating; of each rule: claimed and true gain, and what it gives up."""

    squares: Mapping[str, float]
    claimed: Mapping[str, float]
    true: Mapping[str, float]
    regret: Mapping[str, float]
    changed: Mapping[str, bool]
    settled: bool


def _by_least_squares(rows: pd.DataFrame) -> tuple[FloatArray, FloatArray, float, int]:
    """Cell means, means by main effects alone, variance of a cell's gain and its d.f.: every garden has every cell."""
    yields, cell = invented.yields(rows).to_numpy(), rows["cell"].to_numpy()
    mean = np.bincount(cell, yields) / np.bincount(cell)
    site = pd.factorize(rows["site"])[0]
    in_garden = np.array([np.bincount(cell[site == s], yields[site == s]) for s in range(GARDENS)]) / BLOCKS
    gains = in_garden[:, 1:] - in_garden[:, :1]
    # Gains differ between gardens, so that a gain's variance is that between gardens, pooled over the cells.
    variance, df = float(gains.var(0, ddof=1).mean()) / GARDENS, GARDENS - 1
    factors = [np.array([one[j] for one in CELLS]) for j in range(3)]
    design = np.hstack(
        [np.ones((len(CELLS), 1)), *[pd.get_dummies(f, drop_first=True).to_numpy(float) for f in factors]]
    )
    return mean, np.asarray(design @ np.linalg.lstsq(design, mean, rcond=None)[0]), variance, df


def answer(job: tuple[str, int]) -> Answer:
    """One trial."""
    name, seed = job
    rng = np.random.default_rng([seed, 7])
    truth = Truth(name, rng)
    sites = [str(one) for one in range(GARDENS)]
    rows = grown(rng, "S", sites, BLOCKS, CELLS, truth.weight(CELLS), truth.usable(CELLS), truth.spreads)
    advice = advised(rows, CELLS[0], seed)
    found = {
        Cell.of(one): float(value) for one, value in zip(advice.asked.treatments, advice.prospects.yield_g, strict=True)
    }
    model = np.array([found[one] for one in CELLS])
    cells, main, variance, df = _by_least_squares(rows)
    true = truth.value(CELLS)
    chosen = Cell.of(advice.decision.recommended)
    lead = cells - cells[0]
    tested = lead.max() / np.sqrt(variance) > stdtrit(df * (len(CELLS) - 1), 1 - 0.05 / (len(CELLS) - 1))
    picks = {
        TOOL: (chosen, found[chosen] - found[CELLS[0]]),
        KEEP: (CELLS[0], 0.0),
        BEST: (CELLS[int(cells.argmax())], float(lead.max())),
        TESTED: (CELLS[int(cells.argmax()) if tested else 0], float(lead.max()) if tested else 0.0),
        ADDITIVE: (CELLS[int(main.argmax())], float(main.max() - main[0])),
    }
    worth = {rule: float(truth.value([pick])[0]) for rule, (pick, _) in picks.items()}
    estimates = {TOOL: model, BEST: cells, ADDITIVE: main}
    return Answer(
        squares={
            way: float((((one - one[0]) - (true - true[0]))[1:] ** 2).mean()) for way, one in estimates.items()
        },
        claimed={rule: claim for rule, (_, claim) in picks.items()},
        true={rule: worth[rule] - float(true[0]) for rule in picks},
        regret={rule: truth.best - worth[rule] for rule in picks},
        changed={rule: pick != CELLS[0] for rule, (pick, _) in picks.items()},
        settled=advice.decision.verdict.is_settled,
    )  # fmt: skip


def page(name: str, every: list[Answer]) -> list[str]:
    """Lines of a truth."""
    head = (
        "rule", "rmse of gains, g", "of the 16 cell means'", "changes, %", "claimed gain, g", "true gain, g",
        "claimed less true, g", "given up, g", "made worse, %",
    )  # fmt: skip
    lines = [f"\n## {TRUTHS[name]}\n", f"| {' | '.join(head)} |", "|---" * len(head) + "|"]
    base = np.array([one.squares[BEST] for one in every])
    for rule in RULES:
        rmse = ratio = "–"
        if rule in every[0].squares:
            squares = np.array([one.squares[rule] for one in every])
            # Errors of roots and of ratios by their derivatives.
            root, times = np.sqrt(squares.mean()), np.sqrt(squares.mean() / base.mean())
            scale = 2 * np.sqrt(len(every))
            rmse = f"{root:.2f} ± {squares.std() / scale / root:.2f}"
            ratio = f"{times:.2f} ± {(squares - times**2 * base).std() / scale / times / base.mean():.2f}"
        changed = [one for one in every if one.changed[rule]]
        told = ["–"] * 3
        if len(changed) > 1:
            claimed, true = ([getattr(one, what)[rule] for one in changed] for what in ("claimed", "true"))
            told = [with_error(part) for part in (claimed, true, np.subtract(claimed, true))]
        worse = 100 * np.mean([one.true[rule] < -1e-9 for one in every])
        lines.append(
            f"| {rule} | {rmse} | {ratio} | {100 * len(changed) / len(every):.0f} | {' | '.join(told)} "
            f"| {with_error([one.regret[rule] for one in every], 2)} | {worse:.1f} |"
        )
    lines.append(
        f"\nThe tool called {100 * np.mean([one.settled for one in every]):.0f} in 100 of its answers settled."
    )
    return lines


PREAMBLE = """\
# What the answer of one trial is worth

Made by `python tests/benchmarks/verdicts.py {trials} {seed}`, with {trials} trials a truth. Each tries 2 cultivars, 4
doses (2, 4, 6, 8 teaspoons) and 2 acids in 4 gardens with 3 blocks, 4 heads a bucket. The practice is the first
cultivar and acid at the least dose.

Cultivars differ by 12 g, acids by 6 g. The curve gains 30 g (standard deviation 10 g) between the least dose and its
best. Gardens favour each cultivar and acid by 3 g, and gains over the range of doses accordingly. Gardens differ by
12 g, seasons by 10 g, buckets by 15 g, heads by 20 g. Where losses differ, logits of usable shares are 3.5 at the
least dose and fall by 0.3 (standard deviation 0.15) a teaspoon. They differ by 0.6 between cultivars, by 0.5 between
gardens and by 0.6 between buckets. No other truth has losses. One trial cannot tell a season from what lasts: only
the last truth has seasons that favour anything.

The tool judges with `advise` and a protocol's usual rule, and speaks of doses on half spoons. The rivals choose among
the 16 cells by yield of a transplanted head as recorded. "If tested better" asks for a t test of the gain, by how it
differs between gardens, at 5 % shared among 15 comparisons. "Main effects" estimates cultivar, dose and acid alone.
Claims and true gains are those of changes. Given up is what the best of all doses on half spoons truly has beyond the
choice. All are in g a transplanted head, ± Monte-Carlo standard error.

Aims in the first three truths: an rmse of at most 0.6 times the cell means'. Aims in the fourth: an rmse no more than
theirs. Aims in these four: claims within 2 g of the true gains."""


def main() -> None:
    """Run and print the page."""
    trials, seed = invented.asked_for(TRIALS, SEED)
    print(PREAMBLE.format(trials=trials, seed=seed))
    for place, name in enumerate(TRUTHS):
        print(TRUTHS[name], file=sys.stderr)
        every = invented.run(answer, [(name, seed + 10_000 * place + i) for i in range(trials)])
        print("\n".join(page(name, every)), flush=True)


if __name__ == "__main__":
    main()

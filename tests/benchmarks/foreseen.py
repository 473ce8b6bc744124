"""Is what a plan foresees what trials then find? Trials are drawn from what the plan thinks and judged as real ones.

Run: python tests/benchmarks/foreseen.py [TRIALS [SEED]] > reports/foreseen.md; progress goes to stderr.
"""

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import invented
import numpy as np
import pandas as pd
from invented import with_error
from scipy.special import expit

from trialkit.advice.gathering import BucketRecords
from trialkit.advice.priors import FACTOR_SHARE
from trialkit.advice.sample_information import Foreseen, LeftOpen, Preposterior
from trialkit.advice.usable_shares import SEASON_PART
from trialkit.analysis.advising import Advice, advise
from trialkit.analysis.bucket_records import question_of
from trialkit.domain.arrays import FloatArray
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.beliefs import Outlook, outlook, planned_rows
from trialkit.protocol.randomise import randomise
from trialkit.rules.trial_folder import read_trial

TRIALS, SEED = 200, 20270305
EXAMPLES = Path(__file__).parents[2] / "example_trials"
DESIGNS: Mapping[str, str] = {
    "autumn_dose": "2 cultivars x 4 doses x 2 acids in 3 complete blocks at 4 gardens",
    "spring_dose": "2 cultivars x 4 doses in complete blocks at 5 gardens",
    "volunteer_cultivars": "6 cultivars, 3 buckets with each of 24 volunteers",
}


@dataclass(frozen=True)
class DrawnDesign:
    """A planned trial."""

    name: str
    outlook: Outlook
    layout: pd.DataFrame
    heads: int

    @classmethod
    def of(cls, name: str) -> "DrawnDesign":
        """One of the bundled examples, as it was planned."""
        trial = read_trial(EXAMPLES / name, stage="plan")
        found = outlook(trial, question_of(trial), trial.protocol.treatments(), Assumptions())
        return cls(name, found, randomise(trial.protocol, trial.sites), trial.protocol.bucket.heads)

    def foreseen(self) -> tuple[Foreseen, LeftOpen]:
        """What the plan says, no garden giving up."""
        o = self.outlook
        found = Preposterior.of(o.beliefs, o.gathered(self.layout, self.heads), o.costs, o.design_effect)
        return found.foreseen, found.left_open()


def drawn(design: DrawnDesign, rng: np.random.Generator) -> tuple[BucketRecords, FloatArray]:
    """Records of a trial drawn from what the plan thinks, and the true value of each candidate."""
    o, b = design.outlook, design.outlook.beliefs
    g = o.gathered(design.layout, design.heads)
    j = rng.integers(len(b.weights.mean))
    sd = {name: float(values[j]) for name, values in b.sd.items()}
    effect, share_effect = (
        part.mean[j] + np.linalg.solve(np.linalg.cholesky(part.thought[j]).T, rng.standard_normal(part.mean.shape[1]))
        for part in (b.weights, b.logits)
    )
    garden_logit, _, practice_logit = b.shares.sd[j]
    columns = b.columns
    among = sum(FACTOR_SHARE[name] ** 2 for name in g.practice)
    wide = np.sqrt(1 + np.pi / 8 * (garden_logit**2 + (1 + SEASON_PART) * among * practice_logit**2))
    truth = (columns @ effect) * expit(columns @ share_effect / wide)

    points = g.treatments[0]
    k, sites = len(points), len(g.trial)
    root = {name: np.linalg.cholesky(c[0] + 1e-9 * np.eye(k)) for name, c in g.practice.items()}

    def shift(size: FloatArray | float, name: str) -> FloatArray:
        return np.asarray(size * (root[name] @ rng.standard_normal(k)))

    season = sum(shift(FACTOR_SHARE[name] * sd["season"], name) for name in root)
    season_logit = sum(shift(SEASON_PART**0.5 * FACTOR_SHARE[name] * practice_logit, name) for name in root)
    mean, log = np.empty((sites, k)), np.empty((sites, k))
    for s in range(sites):
        mean[s] = g.design[s, :k] @ effect + season + rng.normal(0, sd["garden"])
        mean[s] += sum(shift(sd[f"garden_{name}"], name) for name in root)
        log[s] = g.design[s, :k] @ share_effect + season_logit + rng.normal(0, garden_logit)
        log[s] += sum(shift(FACTOR_SHARE[name] * practice_logit, name) for name in root)
    rows = planned_rows(design.layout, o.candidacy.question).sort_values("site", kind="stable")
    place = {name: i for i, (_, name) in enumerate(g.names)}
    of = {
        (g.levels.cultivar[c], g.levels.acidifier[a], round(float(d), 3)): i
        for i, (c, a, d) in enumerate(zip(points.cultivar, points.acidifier, points.dose, strict=True))
    }
    blocks: dict[tuple[str, str], float] = {}
    found = []
    icc = (o.design_effect - 1) / (design.heads - 1)
    for row in rows.itertuples():
        s, i = place[row.site], of[row.cultivar, row.acidifier, round(float(np.nan_to_num(row.dose)), 3)]
        block = blocks.setdefault((row.site, row.block), rng.normal(0, sd["block"])) if g.local else 0.0
        share = expit(log[s, i])
        chance = rng.beta(share * (1 / icc - 1), (1 - share) * (1 / icc - 1))
        usable = rng.binomial(design.heads, chance)
        heads = mean[s, i] + block + rng.normal(0, sd["bucket"]) + o.head_variance**0.5 * rng.standard_normal(usable)
        found.append(
            (usable, heads.mean() if usable else np.nan, ((heads - heads.mean()) ** 2).sum() if usable else 0.0)
        )
    usable, weight, squares = (np.array(part, float) for part in zip(*found, strict=True))
    buckets = rows.assign(
        planned=design.heads, recorded=float(design.heads), usable=usable, weight_g=weight, trial="one"
    ).reset_index(drop=True)
    gardens = buckets[["trial", "site"]].drop_duplicates().assign(alkalinity=np.nan, sun_hours=np.nan, kind=None)
    return BucketRecords(buckets, gardens, squares.sum() / np.maximum(usable - 1, 0).sum()), truth


def found(job: tuple[str, int]) -> dict[str, float]:
    """What the real analysis says of one drawn trial, and what its choice truly gives."""
    name, seed = job
    design = DESIGN_OF.get(name) or DESIGN_OF.setdefault(name, DrawnDesign.of(name))
    rng = np.random.default_rng(seed)
    records, truth = drawn(design, rng)
    o = design.outlook
    advice = advise(records, o.candidacy.question)
    assert isinstance(advice, Advice), advice
    decision = advice.decision
    places = {one: i for i, one in enumerate(o.candidacy.treatments)}
    at, practice = places[decision.recommended], o.candidacy.practice
    gain, dose = decision.shown.gain, decision.dose
    assert gain is not None
    true = float(truth[at] - truth[practice])
    return {
        "value": true - o.costs.change * (at != practice),
        "gain": true,
        "change": float(at != practice),
        "settled": float(decision.verdict in ("change", "keep")),
        "half_width": (gain.upper - gain.lower) / 2,
        "dose_half_width": (dose.best_to_tsp - dose.best_from_tsp) / 2 if dose else np.nan,
    }


DESIGN_OF: dict[str, DrawnDesign] = {}
NAMES: Mapping[str, str] = {
    "value": "value of the choice, g a head",
    "gain": "gain over the practice, g a head",
    "change": "share of trials that recommend a change",
    "settled": "share of trials that are settled",
    "half_width": "half-width of the gain's interval, g",
    "dose_half_width": "half-width of the best dose's interval, teaspoons",
}
PREAMBLE = """\
# Is what a plan foresees what trials then find?

Made by `python tests/benchmarks/foreseen.py {trials} {seed}`. {trials} trials of each bundled example are drawn from
what its plan thinks by common practice. That holds standard deviations, effects, gardens, a season, buckets, heads
and losses. Each trial is judged by `advise` as a real trial is. What the plan foresaw is beside what was found on
average over the trials, ± Monte-Carlo standard error. Value and gain are those of the treatment recommended in truth,
not as claimed. No garden gives up here, neither in the plan nor in the trials.

Aims: half-widths and chances within 10 %, values within Monte-Carlo error.
"""


def main() -> None:
    """Run and print the page."""
    trials, seed = invented.asked_for(TRIALS, SEED)
    print(PREAMBLE.format(trials=trials, seed=seed))
    for at, (name, told) in enumerate(DESIGNS.items()):
        print(name, file=sys.stderr)
        every = invented.run(found, [(name, seed + 100_000 * at + i) for i in range(trials)])
        design = DrawnDesign.of(name)
        bringing, left = design.foreseen()
        per_tsp = design.outlook.candidacy.question.per_tsp
        foreseen = {**vars(bringing), **vars(left), "dose_half_width": left.dose_half_width / per_tsp}
        print(f"\n## {told}\n\n| | foreseen | found | found / foreseen |\n|---|---|---|---|")
        for one, words in NAMES.items():
            values = np.array([each[one] for each in every])
            if np.isfinite(values).all():
                ratio = with_error(values / foreseen[one], 2)
                print(f"| {words} | {foreseen[one]:.2f} | {with_error(values, 2)} | {ratio} |")


if __name__ == "__main__":
    main()

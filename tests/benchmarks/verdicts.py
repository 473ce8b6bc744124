"""What the verdicts are worth: ``python tests/benchmarks/verdicts.py > reports/verdicts.md`` (some minutes).

Trials whose truth is drawn with a seed, judged as the analysis judges them, and set beside two simple rules: always
keep the current practice, and always switch to the treatment with the best mean. Progress goes to stderr.
"""

import os
import sys
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd

from trialkit.analysis.decision import CandidateField, judge
from trialkit.analysis.derived_model import derive_model
from trialkit.analysis.draws import draw_means
from trialkit.analysis.fitting import fit_response
from trialkit.analysis.worth import Worth
from trialkit.documents.findings import Comparison, Evidence, Thresholds
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedModelError

SEED, TRIALS = 20261128, 2000
GARDENS = (4, 8)
BLOCKS, ARMS = 3, 6
SD_TRUTH, MARGIN = 12.0, 10.0
SD: Mapping[str, float] = {"site": 14.0, "site:block": 6.0, "site:treatment": 4.0, "bucket": 14.0}
THRESHOLDS = Thresholds(MARGIN, MARGIN, 0.9, 0.95, None, 0.0, 0.0)
LABELS = [f"t{i}" for i in range(ARMS)]
CANDIDATES = pd.DataFrame({"cultivar": LABELS}, index=LABELS)
NOUGHT = np.zeros(ARMS)
WORTH = Worth("g per transplanted head", 1.0, NOUGHT, 0.0, np.zeros(ARMS, bool), NOUGHT, "nutrient", ())


def trial(gardens: int, number: int) -> tuple[str, float, float, float, float]:
    """Verdict, true gain of what is recommended and of the best mean, the best true gain, and the claimed chance."""
    rng = np.random.default_rng([SEED, gardens, number])
    gain = np.concatenate([[0.0], SD_TRUTH * rng.standard_normal(ARMS - 1)])
    index = pd.MultiIndex.from_product([range(gardens), range(BLOCKS), LABELS], names=["site", "block", "treatment"])
    rows = index.to_frame(index=False)
    arm = rows["treatment"].str[1:].astype(int).to_numpy()
    rows["bucket"] = np.arange(len(rows))
    y = 130 + gain[arm]
    for term, sd in SD.items():
        codes = rows.groupby(term.split(":"), sort=False).ngroup().to_numpy()
        y = y + sd * rng.standard_normal(codes.max() + 1)[codes]
    rows = rows.assign(y=y, cultivar=rows["treatment"]).astype(dict.fromkeys(("treatment", "cultivar"), "category"))
    model = derive_model(rows, ["cultivar"], ("site:block",))
    fit = fit_response("y", rows, model).joint
    df = float(fit.compare("treatment", "versus", "t0", "none")["df"].min())
    draws = draw_means(fit, CANDIDATES, df, seed=number)
    field = CandidateField(
        tuple(Treatment(label) for label in LABELS),
        0,
        draws,
        None,
        (1.0,) * ARMS,
        (0.0,) * ARMS,
        (True,) * ARMS,
        (gardens * BLOCKS,) * ARMS,
    )
    compared = fit.compare("treatment", "versus", "t0", "none")
    comparisons = [
        Comparison(Treatment(str(name)), *(float(row[c]) for c in ("estimate", "se", "df", "lower", "upper", "p")))
        for name, row in compared.iterrows()
    ]
    decision = judge(field, WORTH, THRESHOLDS, comparisons, (), Evidence(len(rows), gardens))
    chosen = LABELS.index(str(decision.recommended.cultivar))
    claimed = decision.candidates[chosen].probability_better or 0.0
    best_mean = int(fit.means("treatment")["mean"].to_numpy().argmax())
    return decision.verdict, float(gain[chosen]), float(gain[best_mean]), float(gain.max()), claimed


def attempt(gardens: int, number: int) -> tuple[str, float, float, float, float] | None:
    """One trial; None where no variances were found."""
    try:
        return trial(gardens, number)
    except MixedModelError:
        return None


def main() -> None:
    """Run and print the page."""
    print(PREAMBLE)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for gardens in GARDENS:
            given = list(pool.map(attempt, [gardens] * TRIALS, range(TRIALS), chunksize=20))
            found = pd.DataFrame([g for g in given if g], columns=["verdict", "chosen", "switched", "best", "claimed"])
            print("\n".join(_section(gardens, found)))
            print(f"{gardens} gardens: done", file=sys.stderr, flush=True)


def _section(gardens: int, found: pd.DataFrame) -> list[str]:
    lines = [
        f"\n## {gardens} gardens, {len(found):,} trials\n",
        "| verdict | how often, % | what was recommended is truly better, % | ... by the margin, % | true gain, g |",
        "|---|---|---|---|---|",
    ]
    for verdict, rows in found.groupby("verdict"):
        gain = rows["chosen"]
        better = (
            ("–", "–")
            if (gain == 0).all()
            else (f"{100 * (gain > 0).mean():.1f}", f"{100 * (gain >= MARGIN).mean():.1f}")
        )
        lines.append(f"| {verdict} | {100 * len(rows) / len(found):.1f} | {' | '.join(better)} | {gain.mean():.1f} |")
    adopted = found[found["verdict"] == "adopt"]
    kept = found[found["verdict"] == "keep"]
    lines += [
        "",
        f"Of the changes adopted, the chance claimed of gaining {MARGIN:g} g or more at a new garden was "
        f"{100 * adopted['claimed'].mean():.1f} % on average; on average over gardens "
        f"{100 * (adopted['chosen'] >= MARGIN).mean():.1f} % do. Of the trials that said to keep the practice, "
        f"{100 * (kept['best'] < MARGIN).mean():.1f} % had truly nothing better by the margin.",
        "",
        "| rule | true gain over the practice, g | given up against the truly best, g | made worse, % of trials |",
        "|---|---|---|---|",
    ]
    rules = {
        "these verdicts": found["chosen"],
        "always keep the practice": 0 * found["chosen"],
        "always switch to the best mean": found["switched"],
    }
    for name, gain in rules.items():
        lines.append(
            f"| {name} | {gain.mean():.1f} | {(found['best'] - gain).mean():.1f} | {100 * (gain < 0).mean():.1f} |"
        )
    return lines


PREAMBLE = f"""\
# What the verdicts are worth

Made by `python tests/benchmarks/verdicts.py` (seed {SEED}). {ARMS} treatments, one of them the current practice; each
of the others truly gains a normal amount of mean 0 and standard deviation {SD_TRUTH:g} g per transplanted head.
{BLOCKS}
blocks a garden, one row a bucket; standard deviations in g:
{", ".join(f"{k} {v:g}" for k, v in SD.items())}. The protocol asks for a gain of {MARGIN:g} g with a chance of 90 in
100, and that the interval allowing for all comparisons excludes a loss.

Switching to the best mean gains most where, as here, a change costs nothing and the practice is one of many; but it
changes the handout after nearly every trial, and now and then for the worse. The verdicts ask for evidence first, and
for another trial where there is not enough."""

if __name__ == "__main__":
    main()

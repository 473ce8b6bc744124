"""Do limits of 95 % for new rows hold the truth, in small trials and with slopes.

Run: python tests/benchmarks/prediction_coverage.py [TRIALS [SEED]] > reports/prediction_coverage.md.
"""

import sys
from typing import NamedTuple

import numpy as np
import pandas as pd

from trialkit.mixed import fit_mixed

TRIALS, SEED = 500, 20261130
DOSES, DAYS = 3, 4
KINDS = ("mean of a known group", "head of a known group", "head of a new group", "mean of the population")


class Case(NamedTuple):
    """Groups, and the standard deviations of their levels and slopes; that of the residual is 1."""

    groups: int
    level: float
    slope: float


CASES = [Case(groups, level, 0) for groups in (4, 8, 16) for level in (0.5, 1, 2)]
CASES += [Case(8, 1, 0.5), Case(16, 1, 0.5)]


def held(case: Case, rng: np.random.Generator) -> list[bool]:
    """Draw a trial, predict its first group and a new one, and tell which limits hold the truth."""
    rows = DAYS if case.slope else DOSES
    data = pd.DataFrame(
        {
            "group": np.repeat(np.arange(case.groups), rows).astype(str),
            "days": np.tile(np.arange(rows, dtype=float), case.groups),
        }
    ).assign(dose=lambda table: table["days"].astype(str))
    levels, slopes = (rng.normal(0, sd, case.groups + 1) for sd in (case.level, case.slope))
    own = data["group"].astype(int)
    data["weight"] = levels[own] + slopes[own] * data["days"] + rng.normal(size=len(data))
    formula, random = ("weight ~ days", "group with days") if case.slope else ("weight ~ dose", "group")
    fit = fit_mixed(data, formula, random)
    asked = data.iloc[[1, 1]].assign(group=["0", "new"])
    day, head = float(asked["days"].iloc[0]), rng.normal()
    known, new = levels[0] + slopes[0] * day, levels[-1] + slopes[-1] * day
    mean, one = (fit.predict(asked, interval=kind) for kind in ("mean", "new head"))
    population = fit.predict(asked, random=False)
    tables = [(mean.iloc[0], known), (one.iloc[0], known + head), (one.iloc[1], new + head), (population.iloc[0], 0.0)]
    return [bool(row["lower"] <= truth <= row["upper"]) for row, truth in tables]


def page(trials: int, seed: int) -> str:
    """The page, as markdown."""
    lines = []
    for at, case in enumerate(CASES):
        rng = np.random.default_rng([seed, at])
        share = 100 * np.mean([held(case, rng) for _ in range(trials)], axis=0)
        told = " | ".join(f"{each:.1f}" for each in share)
        lines.append(f"| {case.groups} | {case.level:g} | {case.slope or '-'} | {told} |")
    return f"""# Do the limits of predictions hold?

Made by `python tests/benchmarks/prediction_coverage.py {trials} {seed}`. Groups have one row for each of {DOSES}
doses. Where they have slopes, they have one for each of {DAYS} days, and level and slope are fitted as correlated. The
residual's standard deviation is 1. Each line has {trials} trials. Held: of how many in 100 the limits of 95 % hold the
truth, with a Monte-Carlo standard error of {100 * np.sqrt(0.95 * 0.05 / trials):.1f}.

| groups | levels differ by | slopes differ by | {" | ".join(KINDS)} |
|---|---|---|{"---|" * len(KINDS)}
""" + "\n".join(lines)


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:]]
    print(page(*given, *(TRIALS, SEED)[len(given) :]))

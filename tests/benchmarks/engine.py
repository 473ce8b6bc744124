"""Speed of the engine: ``python tests/benchmarks/engine.py`` prints a table. Not a test: no time is asserted.

Each line is a whole analysis (set-up, formula included, fit, Kenward-Roger test of every term), the least of several
runs, on designs of 24 treatment combinations with a twentieth of the heads lost: the first of a design, when its
formula and model matrix are still to be made, and another response on it. statsmodels' MixedLM, its fit alone, stands
beside it where it can express the model in reasonable time, and lme4's where Rscript and lme4 are there.

Large crossed terms and slopes go by the second algebra; their times are seconds of the processor, and so are lme4's.
"""

import resource
import shutil
import subprocess
import tempfile
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.mixed import MixedFit, fit_mixed, fixed, hypotheses, refit_many
from trialkit.mixed.hypotheses import term_contrasts

FORMULA = "weight_g ~ cultivar * dose * acid"
RANDOM = ["site", "site:block", "bucket", "site:cultivar", "site:dose"]


@dataclass(frozen=True)
class Size:
    """A size of trial: gardens, blocks in each, heads a bucket, and how often it is timed."""

    name: str
    sites: int
    blocks: int
    heads: int
    runs: int


SIZES = (
    Size("small", 3, 3, 4, 30), Size("medium", 10, 3, 6, 20), Size("large", 100, 3, 6, 5),
    Size("programme", 1000, 5, 6, 2),
)  # fmt: skip


LME4 = """suppressMessages(library(lme4))
given <- commandArgs(TRUE)
data <- read.csv(given[1], stringsAsFactors = TRUE)
for (name in setdiff(names(data), c("weight_g", "age"))) data[[name]] <- factor(data[[name]])
run <- function() sum(system.time(lmer(as.formula(given[2]), data))[1:2])
cat(min(replicate(as.integer(given[3]), run())))
"""


@dataclass(frozen=True)
class Crossed:
    """Gardens crossed with people, who mostly keep to gardens of their group."""

    name: str
    rows: int
    gardens: int
    people: int
    groups: int = 14


CROSSED = (
    Crossed("crossed, 2,000 rows", 2_000, 100, 80),
    Crossed("crossed, 20,000 rows", 20_000, 800, 1_000),
    Crossed("crossed, 70,000 rows", 70_000, 3_000, 1_100),
)


def crossed(size: Crossed) -> pd.DataFrame:
    """Draw heads weighed by people who see four gardens of five within their own group."""
    rng = np.random.default_rng(1)
    garden = rng.integers(0, size.gardens, size.rows)
    near = rng.integers(0, size.people // size.groups, size.rows) * size.groups + garden % size.groups
    person = np.where(rng.random(size.rows) < 0.8, near, rng.integers(0, size.people, size.rows))
    effects = rng.normal(0, 10, size.gardens)[garden] + rng.normal(0, 7, size.people)[person]
    weight = 100 + effects + rng.normal(0, 12, size.rows)
    return pd.DataFrame({"garden": garden, "person": person, "dose": rng.choice(["2", "4", "6"], size.rows)}).assign(
        weight_g=weight
    )


def growth(gardens: int, weighings: int) -> pd.DataFrame:
    """Draw heads of gardens that grow each at its own rate."""
    rng = np.random.default_rng(1)
    garden, age = np.repeat(np.arange(gardens), weighings), np.tile(np.arange(weighings) * 5.0, gardens)
    rate = 4 + rng.normal(0, 0.5, gardens)
    weight = 20 + rng.normal(0, 8, gardens)[garden] + rate[garden] * age + rng.normal(0, 6, len(age))
    return pd.DataFrame({"garden": garden, "age": age, "weight_g": weight})


@cache
def has_lme4() -> bool:
    """Whether Rscript and lme4 are there."""
    command = ["Rscript", "-e", "quit(status = !requireNamespace('lme4', quietly = TRUE))"]
    return bool(shutil.which("Rscript")) and subprocess.run(command, capture_output=True, check=False).returncode == 0


def lme4_seconds(data: pd.DataFrame, formula: str, runs: int) -> str:
    """Least seconds of the processor of lme4's fit, in words."""
    if not has_lme4():
        return "no lme4 here"
    with tempfile.TemporaryDirectory() as folder:
        rows, script = Path(folder) / "rows.csv", Path(folder) / "fit.R"
        data.to_csv(rows, index=False)
        script.write_text(LME4, encoding="utf-8")
        command = ["Rscript", str(script), str(rows), formula, str(runs)]
        said = subprocess.run(command, capture_output=True, text=True, check=True)
    return f"{float(said.stdout):.3f}"


def processor_seconds(function: Callable[[], object], runs: int) -> float:
    """Least seconds of the processor of several runs."""
    times = []
    for _ in range(runs):
        start = time.process_time()
        function()
        times.append(time.process_time() - start)
    return min(times)


def second_algebra_line(name: str, data: pd.DataFrame, formula: str, random: list[str], in_r: str, runs: int) -> str:
    """One line of the table of the second algebra."""
    alone = processor_seconds(lambda: fit_mixed(data, formula, random), runs)
    whole = processor_seconds(lambda: analysis(data, formula, random), runs)
    beside = lme4_seconds(data, in_r, runs)
    return f"{name:<24} {alone:>10.3f} {whole:>24.3f} {beside:>14} {peak_megabytes():>10.0f}"


def trial(sites: int, blocks: int, heads: int, lost: float, levels: tuple[int, int, int] = (2, 4, 3)) -> pd.DataFrame:
    """Draw the heads of a trial with random gardens, blocks, buckets and treatment effects."""
    rng = np.random.default_rng(1)
    axes = [range(n) for n in (sites, blocks, *levels, heads)]
    site, block, cultivar, dose, acid, _ = (axis.ravel() for axis in np.meshgrid(*axes, indexing="ij"))
    bucket = np.arange(len(site)) // heads
    effects = (
        10.0 * cultivar + 5.0 * dose + rng.normal(0, 14, len(site)) + rng.normal(0, 10, sites)[site]
        + rng.normal(0, 5, sites * blocks)[site * blocks + block] + rng.normal(0, 9, bucket[-1] + 1)[bucket]
        + rng.normal(0, 3, sites * levels[0])[site * levels[0] + cultivar]
        + rng.normal(0, 3, sites * levels[1])[site * levels[1] + dose]
    )  # fmt: skip
    columns = {"site": site, "block": block, "cultivar": cultivar, "dose": dose, "acid": acid, "bucket": bucket}
    data = pd.DataFrame({name: pd.Categorical(codes) for name, codes in columns.items()}).assign(weight_g=100 + effects)
    return data[rng.random(len(data)) >= lost].reset_index(drop=True)


def least_seconds(function: Callable[[], object], runs: int) -> float:
    """Least time of several runs, after one that is not counted."""
    function()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def analysis(data: pd.DataFrame, formula: str, random: list[str]) -> MixedFit:
    """Fit and test every term by Kenward and Roger."""
    fit = fit_mixed(data, formula, random)
    fit.anova()
    return fit


def first_analysis(data: pd.DataFrame, formula: str, random: list[str]) -> MixedFit:
    """Fit and test with nothing remembered of the formula and the design."""
    remembered = (fixed.parse_formula, fixed._coding, fixed._weighted_design, hypotheses._grid_rows, term_contrasts)
    for function in remembered:
        function.cache_clear()
    return analysis(data, formula, random)


def statsmodels_seconds(data: pd.DataFrame) -> float:
    """One fit by statsmodels' MixedLM, the terms as variance components of one constant group; formula excluded."""
    import statsmodels.formula.api as smf

    parts, plain = {}, data.astype({c: int for c in data.columns if c != "weight_g"})
    for term in RANDOM:
        plain[term.replace(":", "_")] = plain[term.split(":")].astype(str).agg("_".join, axis=1)
        parts[term] = f"0 + C({term.replace(':', '_')})"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = smf.mixedlm(
            "weight_g ~ C(cultivar) * C(dose) * C(acid)", plain, groups=np.ones(len(plain)), vc_formula=parts
        )
        start = time.perf_counter()
        model.fit(reml=True)
    return time.perf_counter() - start


def line(name: str, data: pd.DataFrame, formula: str, random: list[str], runs: int) -> str:
    """One line of the table."""
    first, again = (
        least_seconds(partial(function, data, formula, random), runs) for function in (first_analysis, analysis)
    )
    return f"{name:<10} {len(data):>8} {first:>9.5f} {again:>9.5f} {peak_megabytes():>10.0f}"


def main() -> None:
    """Print the tables."""
    beside = "  statsmodels' fit, s   lme4's fit, s"
    print(f"{'size':<10} {'heads':>8} {'first, s':>9} {'again, s':>9} {'memory MB':>10}{beside}")
    tiny = trial(1, 3, 1, 0.0, (1, 12, 1))
    print(line("tiny", tiny, "weight_g ~ dose", ["block"], 200))
    for size in SIZES:
        data = trial(size.sites, size.blocks, size.heads, 0.05)
        beside = f" {statsmodels_seconds(data):21.2f}" if size.name == "small" else f" {'':21}"
        in_r = f"{FORMULA} + {' + '.join(f'(1 | {term})' for term in RANDOM)}"
        lme4 = lme4_seconds(data, in_r, 3) if size.sites <= 10 else ""
        print(line(size.name, data, FORMULA, RANDOM, size.runs) + beside + f" {lme4:>14}")
    print(f"\n{'second algebra':<24} {'fit, s':>10} {'with Kenward-Roger, s':>24} {'lme4, s':>14} {'memory MB':>10}")
    for asked in CROSSED:
        data, runs = crossed(asked), 3 if asked.rows < 10_000 else 1
        in_r = "weight_g ~ dose + (1 | garden) + (1 | person)"
        print(second_algebra_line(asked.name, data, "weight_g ~ dose", ["garden", "person"], in_r, runs))
    for gardens in (20, 2_000):
        data, in_r = growth(gardens, 8), "weight_g ~ age + (age | garden)"
        name = f"slopes, {len(data):,} rows"
        print(second_algebra_line(name, data, "weight_g ~ age", ["garden with age"], in_r, 3))
    print(f"\n{'many responses on one design':<40} {'fits a second, Kenward-Roger or exact F included':>20}")
    for name, lost, count in (("orthogonal, 864 heads", 0.0, 20_000), ("unbalanced, 818 heads", 0.05, 1_000)):
        for bounds in ("strata", "nonnegative"):
            fit = fit_mixed(trial(3, 3, 4, lost), FORMULA, RANDOM, bounds=bounds)  # type: ignore[arg-type]
            responses = fit.simulate(np.random.default_rng(2), count)
            refit_many(fit, responses[:20])
            start = time.perf_counter()
            refit_many(fit, responses)
            print(f"{name + ', ' + bounds:<40} {count / (time.perf_counter() - start):>20,.0f}")


def peak_megabytes() -> float:
    """Peak memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()

"""Speed of the engine: ``python tests/benchmarks/engine.py`` prints a table. Not a test: no time is asserted.

Each line is a whole analysis (set-up, formula included, fit, Kenward-Roger test of every term), the least of several
runs, on designs of 24 treatment combinations with a twentieth of the heads lost: the first of a design, when its
formula and model matrix are still to be made, and another response on it. statsmodels' MixedLM, its fit alone, stands
beside it where it can express the model in reasonable time.
"""

import resource
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

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
    print(f"{'size':<10} {'heads':>8} {'first, s':>9} {'again, s':>9} {'memory MB':>10}   statsmodels' fit alone")
    tiny = trial(1, 3, 1, 0.0, (1, 12, 1))
    print(line("tiny", tiny, "weight_g ~ dose", ["block"], 200))
    for size in SIZES:
        data = trial(size.sites, size.blocks, size.heads, 0.05)
        beside = f"   {statsmodels_seconds(data):8.2f} s" if size.name == "small" else ""
        print(line(size.name, data, FORMULA, RANDOM, size.runs) + beside)
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

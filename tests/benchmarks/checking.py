"""How long it takes to check a trial of 100,000 heads, and how much memory: python tests/benchmarks/checking.py.

Aimed at: under 3 s and 300 MB on two cores, the interpreter's start and every import included.
"""

import resource
import subprocess
import sys
import tempfile
import time
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.tables.atomic import csv_text

SITES, BLOCKS, HEADS = 50, 50, 4
DOSES = (2, 3, 4, 5, 6, 7, 8, 9, 10, 11)
PROTOCOL = f"""\
[trial]
question = "Which dose?"
started_on = 2026-08-20

[bucket]
heads = {HEADS}

[factors.dose]
levels = {list(DOSES)}

[layout]
blocks = {BLOCKS}
seed = 1

[decision]
current_practice = {{ dose = 4 }}
"""


def write_large_trial(folder: Path) -> int:
    """Write 50 invented gardens of 50 blocks of 10 doses, 4 heads a bucket; return how many heads."""
    draws = np.random.default_rng(20261127)
    sites = pd.DataFrame({"site": [f"G{i:02d}" for i in range(SITES)]})
    places = list(product(sites["site"], range(1, BLOCKS + 1), range(1, len(DOSES) + 1)))
    layout = pd.DataFrame(places, columns=["site", "block", "position"])
    layout.insert(0, "bucket", [f"B{i:05d}" for i in range(len(layout))])  # more than there are labels with a check
    layout["position"] += len(DOSES) * (layout["block"] - 1)
    layout["cultivar"] = layout["acidifier"] = ""
    layout["dose_tsp"] = np.concatenate([draws.permutation(DOSES) for _ in range(SITES * BLOCKS)])
    heads = layout[["bucket"]].loc[layout.index.repeat(HEADS)].reset_index(drop=True)
    cut = pd.Timestamp("2026-09-24") + pd.to_timedelta(draws.integers(0, 20, len(heads)), "D")
    heads["head"] = np.tile(np.arange(1, HEADS + 1), len(layout))
    heads["transplanted_on"] = pd.Timestamp("2026-08-20")
    heads["outcome"] = np.where(draws.random(len(heads)) < 0.03, "dead", "harvested")
    alive = heads["outcome"] == "harvested"
    heads["harvested_on"] = cut.where(alive)
    heads["last_not_ready_on"] = (cut - pd.Timedelta(days=3)).where(alive)
    heads["weight_g"] = pd.Series(draws.normal(150, 25, len(heads)).round().clip(40)).where(alive)
    heads["marketable"] = alive
    heads["note"] = ""
    solution = layout[["bucket"]].assign(
        measured_on="2026-08-20", volume_l=20.0, nutrient_tsp=layout["dose_tsp"], ph_before=7.0, ph_after=6.0
    )
    visits = sites.assign(visited_on="2026-08-20", observer_role="volunteer", note="")
    for name, table in (("sites", sites), ("layout", layout), ("heads", heads), ("solution", solution)):
        (folder / f"{name}.csv").write_text(csv_text(table), encoding="utf-8")
    (folder / "visits.csv").write_text(csv_text(visits), encoding="utf-8")
    (folder / "products.csv").write_text("product,kind,grams_per_tsp\nBlend L,nutrient,5\n", encoding="utf-8")
    (folder / "trial.toml").write_text(PROTOCOL, encoding="utf-8")
    return len(heads)


def main() -> None:
    """Print the time of three checks, each in a process of its own, and the greatest memory of one."""
    with tempfile.TemporaryDirectory() as name:
        heads = write_large_trial(Path(name))
        seconds = []
        for _ in range(3):
            start = time.perf_counter()
            done = subprocess.run([sys.executable, "-m", "trialkit", "check", name], capture_output=True, text=True)
            seconds.append(time.perf_counter() - start)
        memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(done.stdout.splitlines()[-1])
    print(f"{heads:,} heads: {min(seconds):.2f} s at best of {len(seconds)}, {memory:.0f} MB")


if __name__ == "__main__":
    main()

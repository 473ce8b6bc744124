"""How long pooling a large ledger takes, and how much memory: python tests/benchmarks/ledger.py [TRIALS].

Aimed at: 2,000 trials with 1,000,000 heads in under 30 s and 2 GB on two cores, the index alone in under 1 s. The
trials are invented: a few gardens each, four doses of two cultivars, and gains that differ between trials and gardens.
The newest is the bundled autumn trial, whose practice and shelf are today's.
"""

import resource
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.analysis.bucket_records import BUCKET_COLUMNS
from trialkit.documents.ledger_entry import Added, EntrySite, EntryTold, HeadScatter, TrialFacts
from trialkit.evidence import ledger as ledgers
from trialkit.evidence import ledger_index
from trialkit.evidence.accepting import BUCKETS_FILE
from trialkit.tables.atomic import csv_text

EXAMPLES = Path(__file__).parents[2] / "example_trials"
GARDENS, BLOCKS, HEADS = 4, 4, 4
DOSES = {2: 45.0, 4: 90.0, 6: 135.0, 8: 180.0}
SEASONS = ("spring", "summer", "autumn")


def buckets(rng: np.random.Generator) -> pd.DataFrame:
    """The buckets of an invented trial: eight treatments in complete blocks."""
    cultivars = ["Larkmoor Butter", "Fenleaf"]
    rows = [
        (f"G{garden}", str(block + 1), cultivar, dose)
        for garden in range(GARDENS)
        for block in range(BLOCKS)
        for cultivar in cultivars
        for dose in DOSES
    ]
    frame = pd.DataFrame(rows, columns=["site", "block", "cultivar", "dose_tsp"])
    n = len(frame)
    better = 12 + rng.normal(0, 4) + rng.normal(0, 4, GARDENS)[frame["site"].str[1:].astype(int)]
    level = 120 + rng.normal(0, 10) + rng.normal(0, 12, GARDENS)[frame["site"].str[1:].astype(int)]
    dose = 8 * np.minimum(frame["dose_tsp"], 6)
    frame["yield_g"] = (level + dose + better * (frame["cultivar"] == "Fenleaf") + rng.normal(0, 18, n)).round(2)
    frame["days"] = (40 - 3 * (frame["cultivar"] == "Fenleaf") + rng.normal(0, 2, n)).round(6)
    frame["days_se"] = rng.uniform(0.6, 1.2, n).round(6)
    frame["bucket"] = [f"{i:04X}" for i in range(n)]
    frame["n_mg_l"] = frame["dose_tsp"].map(DOSES)
    frame["acidifier"] = "white vinegar 5 %"
    frame["whole_plot"] = ""
    for column in ("planned", "recorded", "usable", "weighed"):
        frame[column] = HEADS
    return frame[list(BUCKET_COLUMNS)]


def build(folder: Path, trials: int) -> None:
    """A ledger of invented trials, and one that can be read as a trial."""
    rng = np.random.Generator(np.random.PCG64(20261128))
    autumn = folder.parent / "autumn_dose"
    shutil.copytree(EXAMPLES / "autumn_dose", autumn)
    for arguments in (["analyse", str(autumn)], ["evidence", "add", str(autumn), "--ledger", str(folder)]):
        subprocess.run([sys.executable, "-m", "trialkit", *arguments], check=True, capture_output=True)
    first = date(2026, 1, 1) - timedelta(days=trials)
    added: list[Added] = []
    for i in range(trials - 1):
        frame = buckets(rng)
        entry = ledgers.NewEntry(
            kind="trial",
            trial=f"invented-{i:04d}",
            title="An invented trial",
            season=f"{SEASONS[i % 3]} {first.year + i // 3}",
            started_on=(first + timedelta(days=i)).isoformat(),
            buckets=len(frame),
            heads=int(frame["recorded"].sum()),
            gardens=GARDENS,
            inputs={"note.txt": f"invented {i}\n".encode()},
            made={BUCKETS_FILE: csv_text(frame).encode()},
            facts=TrialFacts(
                made_with={},
                product="Blend L 9-12-30",
                sites=tuple(EntrySite(f"G{g}", "school", float(rng.uniform(20, 260))) for g in range(GARDENS)),
                verdict=None,
                head_scatter=HeadScatter(200.0 * (HEADS - 1) * len(frame), (HEADS - 1) * len(frame)),
            ),
        )
        listed = ledgers._listed(entry, date(2026, 1, 1))
        ledgers._write_entry(folder / ledger_index.ENTRIES / listed.id, entry)
        added.append(Added(**{name: getattr(listed, name) for name in EntryTold.__dataclass_fields__}))
    ledger_index.write_index(folder, ledger_index.grown(ledger_index.read_index(folder), added))


def main() -> None:
    """Print what it took."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "ledger"
        build(folder, trials)
        begun = time.perf_counter()
        index = ledger_index.read_index(folder).listed
        heads = sum(one.heads for one in index)
        print(f"index of {len(index)} trials, {heads} heads: {time.perf_counter() - begun:.2f} s")
        begun = time.perf_counter()
        command = [sys.executable, "-m", "trialkit", "evidence", "pool", "--ledger", str(folder)]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
        print(done.stdout)
        print(f"evidence pool: {time.perf_counter() - begun:.1f} s, at most {memory:.2f} GB")
        begun = time.perf_counter()
        subprocess.run([*command[:4], "list", "--ledger", str(folder)], check=True, capture_output=True)
        print(f"evidence list, every digest compared: {time.perf_counter() - begun:.1f} s")


if __name__ == "__main__":
    main()

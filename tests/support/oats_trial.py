"""Yates's oats of 1935 written as a trial folder: varieties on whole plots, nitrogen doses within them, six blocks.

Yates, F. (1935). Complex experiments. Supplement to the Journal of the Royal Statistical Society 2, 181-247. A plot
stands for a bucket with one head, and hundredweights of nitrogen an acre for teaspoons a bucket.
"""

from pathlib import Path

import pandas as pd

from trialkit.tables.bucket_ids import make_bucket_id

DATA = Path(__file__).parents[1] / "reference" / "mixed_models" / "oats_split_plot.csv"

PROTOCOL = """\
[trial]
id = "oats-1935"
title = "Yates's oats: variety by nitrogen dose, a split-plot"
question = "Which variety, and how much nitrogen?"
season = "summer (published 1935; the dates are made up)"

[bucket]
volume_l = 20
heads = 1

[factors.cultivar]
levels = ["Golden Rain", "Marvellous", "Victory"]

[factors.dose]
levels = [0.0, 0.2, 0.4, 0.6]

[layout]
kind = "split-plot"
whole_plot = "cultivar"
blocks = 6
seed = 1935

[decision]
current_practice = { cultivar = "Victory", dose = 0.2 }
margin_g = 10
"""


def write_oats_trial(folder: Path) -> pd.DataFrame:
    """Write the trial folder; return the data as published."""
    oats = pd.read_csv(DATA, dtype={"dose": str})
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "trial.toml").write_text(PROTOCOL, encoding="utf-8")
    pd.DataFrame({"site": ["FIELD"], "name": ["The field"]}).to_csv(folder / "sites.csv", index=False)
    block = oats["Block"].map({name: i + 1 for i, name in enumerate(oats["Block"].unique())})
    layout = pd.DataFrame(
        {
            "bucket": [make_bucket_id(i) for i in range(len(oats))],
            "site": "FIELD",
            "block": block,
            "whole_plot": oats.groupby("Block")["Variety"].transform(lambda v: pd.factorize(v)[0] + 1),
            "position": range(1, len(oats) + 1),
            "cultivar": oats["Variety"],
            "dose_tsp": oats["dose"],
            "acidifier": "",
        }
    )
    layout.to_csv(folder / "layout.csv", index=False)
    heads = pd.DataFrame(
        {
            "bucket": layout["bucket"],
            "head": 1,
            "transplanted_on": "2026-04-01",
            "outcome": "harvested",
            "harvested_on": "2026-08-20",
            "weight_g": oats["yield"],
            "marketable": "yes",
        }
    )
    heads.to_csv(folder / "heads.csv", index=False)
    return oats

"""Records of a trial as honest volunteers would return them, and how to change them."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.protocol.randomise import randomise
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.tables.atomic import csv_text

PROTOCOL = """\
[trial]
question = "Which dose?"
started_on = 2026-08-20

[bucket]
volume_l = 20
heads = 4

[factors.dose]
levels = [2, 4, 6, 8]
product = "Blend L"

[factors.acidifier]
levels = ["none", "white vinegar 5 %"]

[layout]
blocks = 2
seed = 7

[decision]
current_practice = { dose = 4, acidifier = "none" }
"""
SITES = """\
site,name,alkalinity_mg_l_caco3,water_ph
FERN,Fernsedge School,75,7.0
MILL,Old Mill Library,80,7.0
STAT,Station Road Allotments,85,7.0
"""
PRODUCTS = """\
product,kind,n_pct,p2o5_pct,k2o_pct,grams_per_tsp,acid,acid_pct_w_v,ca_pct
Blend L,nutrient,9,12,30,5,,,8
white vinegar 5 %,acid,,,,,acetic,5,
"""


@dataclass
class Records:
    """Heads and mixings, to be changed; `site` and `dose` are those of each head's bucket."""

    heads: pd.DataFrame
    solution: pd.DataFrame
    site: pd.Series
    dose: pd.Series

    def weigh(self, where: pd.Series | slice, weight_g: object) -> None:
        """Give heads other weights."""
        self.heads.loc[where, "weight_g"] = weight_g

    def mix(self, row: int, **cells: object) -> None:
        """Change cells of a mixing."""
        self.solution.loc[row, list(cells)] = list(cells.values())

    def lose(self, where: pd.Series) -> None:
        """Let heads die."""
        self.heads.loc[where, "outcome"] = "dead"
        self.heads.loc[where, "weight_g"] = np.nan
        self.heads.loc[where, ["harvested_on", "last_not_ready_on"]] = pd.NaT


def write_records(folder: Path, change: Callable[[Records], None] | None = None) -> None:
    """Write a trial folder of three gardens, two blocks, eight treatments, four heads a bucket."""
    folder.mkdir(parents=True, exist_ok=True)
    draws = np.random.default_rng(11)
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    sites = pd.read_csv(folder / "sites.csv")
    layout = randomise(parse_protocol(PROTOCOL), sites)
    heads = layout[["bucket"]].loc[layout.index.repeat(4)].reset_index(drop=True)
    heads["head"] = np.tile([1, 2, 3, 4], len(layout))
    heads["transplanted_on"] = pd.Timestamp("2026-08-20")
    heads["outcome"] = "harvested"
    heads["harvested_on"] = pd.Timestamp("2026-09-29")
    heads["last_not_ready_on"] = pd.Timestamp("2026-09-26")
    heads["weight_g"] = draws.normal(150, 17, len(heads)).round()
    heads["marketable"] = True
    heads["note"] = ""
    vinegar = layout["acidifier"] != "none"
    solution = layout[["bucket"]].assign(
        measured_on=pd.Timestamp("2026-08-20"),
        volume_l=draws.normal(20, 0.1, len(layout)).round(1),
        nutrient_tsp=layout["dose_tsp"],
        acid_tsp=np.where(vinegar, 5.0, 0.0),
        ph_before=7.0,
        ph_after=np.where(vinegar, 6.0, 7.0),
        ec_ms_cm=(0.2 + 0.23 * layout["dose_tsp"] * draws.normal(1, 0.05, len(layout))).round(2),
    )
    by_bucket = layout.set_index("bucket")
    records = Records(
        heads, solution, heads["bucket"].map(by_bucket["site"]), heads["bucket"].map(by_bucket["dose_tsp"])
    )
    if change:
        change(records)
    visits = sites[["site"]].assign(visited_on="2026-08-20", observer_role="volunteer", note="")
    tables = {"layout": layout, "heads": records.heads, "solution": records.solution, "visits": visits}
    for name, table in tables.items():
        (folder / f"{name}.csv").write_text(csv_text(table), encoding="utf-8")
    (folder / "products.csv").write_text(PRODUCTS, encoding="utf-8")
    (folder / "trial.toml").write_text(PROTOCOL, encoding="utf-8")

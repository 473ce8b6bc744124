"""Small trials of the invented county, whose records a test may change before they are analysed."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from trialkit.analysis import Results, analyse
from trialkit.planning.examples import make_example
from trialkit.rules.trial_folder import read_trial

PROTOCOL = """\
[trial]
id = "{id}"
title = "A small trial"
question = "Which?"
{about}
[bucket]
volume_l = 20
heads = {heads}

{factors}
[layout]
kind = "{kind}"
blocks = {blocks}
seed = {seed}
{whole_plot}
[decision]
current_practice = {{ {practice} }}
"""
FACTORS = {
    "cultivar": ("[factors.cultivar]\nlevels = {}\n",
                 ["Larkmoor Butter", "Fenleaf", "Copperfrill", "Paleheart", "Mossridge", "Tarnfrost"]),
    "dose": ('[factors.dose]\nlevels = {}\nproduct = "Blend L"\n', [2, 4, 6, 8]),
    "acidifier": ("[factors.acidifier]\nlevels = {}\n", ["white vinegar 5 %", "citric acid", "none"]),
}  # fmt: skip
PRODUCTS = """\
product,kind,n_pct,p2o5_pct,k2o_pct,grams_per_tsp,price_per_kg,acid,acid_pct_w_v
Blend L,nutrient,9,12,30,5,12,,
white vinegar 5 %,acid,,,,,,acetic,5
citric acid,acid,,,,4.6,,citric,
"""
ChangeHeads = Callable[[pd.DataFrame], pd.DataFrame]


def small_trial(folder: Path, **options: Any) -> Results:
    """Write a small trial and analyse it; `options` are those of `write_small_trial`."""
    write_small_trial(folder, **options)
    return analyse(read_trial(folder))


def write_small_trial(
    folder: Path,
    *,
    sites: int = 1,
    blocks: int = 3,
    cultivars: int = 0,
    doses: int = 0,
    acidifiers: int = 0,
    heads: int = 2,
    seed: int = 7,
    whole_plot: str = "",
    kind: str = "randomised complete blocks",
    layout: str = "",
    decision: str = "",
    days: bool = True,
    id: str = "small",
    about: str = "",
    change: ChangeHeads | None = None,
) -> None:
    """Lay out, draw records and change them.

    Parameters
    ----------
    folder : Path
        To write the trial into.
    sites, blocks, cultivars, doses, acidifiers, heads, seed : int
        Size; a factor with no level is left out.
    whole_plot : str
        Factor on whole plots: a split-plot; a layout of `kind` where empty.
    kind, layout : str
        Kind of layout, and further lines of its section.
    decision : str
        Further lines of the protocol's last section.
    days : bool
        Whether days to harvest are analysed too, which takes most of the time.
    id, about : str
        Identity of the trial, and further lines of its first section.
    change : callable, optional
        Given the head records joined with the layout, all as text; returns the records to keep.
    """
    counts = {"cultivar": cultivars, "dose": doses, "acidifier": acidifiers}
    levels = {name: FACTORS[name][1][:count] for name, count in counts.items() if count}
    text = PROTOCOL.format(
        id=id,
        about=about,
        heads=heads,
        factors="".join(FACTORS[name][0].format(str(chosen).replace("'", '"')) for name, chosen in levels.items()),
        kind="split-plot" if whole_plot else kind,
        blocks=blocks,
        seed=seed,
        whole_plot=f'whole_plot = "{whole_plot}"\n' if whole_plot else layout,
        practice=", ".join(f"{name} = {_toml(chosen[0])}" for name, chosen in levels.items()),
    )
    folder.mkdir(parents=True, exist_ok=True)
    asked = "" if days else "[responses]\ndays = false\n"
    (folder / "trial.toml").write_text(text + decision + asked, encoding="utf-8")
    rows = "".join(f"s{i},Garden {i},garden,mains,{60 + 20 * i},7.2,6\n" for i in range(1, sites + 1))
    (folder / "sites.csv").write_text("site,name,kind,water_source,alkalinity_mg_l_caco3,water_ph,sun_hours\n" + rows)
    (folder / "products.csv").write_text(PRODUCTS)
    make_example(folder)
    if change:
        records = pd.read_csv(folder / "heads.csv", dtype=str, keep_default_na=False)
        buckets = pd.read_csv(folder / "layout.csv", dtype=str, keep_default_na=False)
        kept = change(records.merge(buckets, on="bucket"))
        kept[list(records.columns)].to_csv(folder / "heads.csv", index=False)


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)

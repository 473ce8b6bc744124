"""Writes the records of an invented volunteer trial and of an invented ledger of four trials: python invented.py."""

from itertools import product

import numpy as np
import pandas as pd

GARDENS = pd.DataFrame(
    {
        "alkalinity": [35.0, 80.0, 140.0, 210.0, 60.0, 120.0, 90.0, None],
        "sun_hours": [4.0, 6.5, 8.0, 5.0, 7.0, None, 6.0, 9.0],
        "kind": ["yard", "roof", "yard", "roof", "yard", "roof", "", "yard"],
    },
    index=pd.Index([f"garden {i}" for i in range(1, 9)], name="site"),
)
COLUMNS = ["trial", "site", "block", "whole_plot", "cultivar", "acidifier", "dose", "recorded", "usable", "weight_g"]
OF_HEADS = 400.0


def grown(rng, trial, sites, blocks, treatments, lost, whole_plots=False):
    """Records of one trial: what gardens, seasons, blocks, buckets and heads do is drawn anew."""
    rows = []
    season = rng.normal(0, 25)
    for site in sites:
        place = int(site.split()[1])
        lasting = np.random.default_rng(place).normal(0, [20, 6, 5])
        passing = rng.normal(0, [15, 5, 5])
        for block in range(1, blocks + 1):
            here = rng.normal(0, 8)
            plots = {cultivar: rng.normal(0, 6 * whole_plots) for cultivar in "AB"}
            for cultivar, acidifier, dose in treatments:
                if rng.random() < lost:
                    continue
                strength = (dose - 75) / 225
                mean = (
                    150
                    + season
                    + here
                    + plots[cultivar]
                    + (lasting + passing)[0]
                    + (lasting + passing)[1] * (cultivar == "B")
                )
                mean += (
                    40 * strength
                    - 30 * strength**2
                    + 12 * (cultivar == "B") * (0.5 + strength)
                    + 6 * (acidifier == "citric")
                )
                usable = int(rng.binomial(4, 0.85))
                weight = mean + rng.normal(0, 14) + rng.normal(0, np.sqrt(OF_HEADS / max(usable, 1)))
                plot = cultivar if whole_plots else ""
                rows.append((trial, site, str(block), plot, cultivar, acidifier, dose, 4, usable, round(weight, 1)))
    return pd.DataFrame(rows, columns=COLUMNS).assign(weight_g=lambda all: all["weight_g"].where(all["usable"] > 0))


def put(trials, name):
    """Write them with what is known of the gardens."""
    pd.concat(trials).merge(GARDENS, on="site", how="left").to_csv(f"{name}.csv", index=False)


if __name__ == "__main__":
    rng = np.random.default_rng(20261129)
    names = list(GARDENS.index)
    full = list(product("AB", ["citric", "vinegar"], [75.0, 150.0, 225.0, 300.0]))
    put([grown(rng, "1", names[:4], 2, full, 0.06)], "volunteers")
    ledger = [
        ("1", names[:4], 2, list(product("AB", ["citric"], [75.0, 150.0, 300.0])), 0.1, False),
        ("2", [names[i] for i in (0, 2, 4)], 2, list(product("AB", ["citric", "vinegar"], [150.0, 225.0])), 0.1, True),
        ("3", [names[i] for i in (1, 4, 5, 6)], 3, list(product("B", ["citric", "vinegar"], [225.0])), 0.0, False),
        ("4", [names[i] for i in (0, 6, 7)], 2, list(product("AB", ["citric"], [100.0, 180.0, 260.0])), 0.1, False),
    ]
    put([grown(rng, *one) for one in ledger], "ledger")

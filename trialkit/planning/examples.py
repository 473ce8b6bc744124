"""Make the bundled example trials anew: ``python -m trialkit.planning.examples FOLDER``.

FOLDER is ``example_trials`` of a source checkout. Each example's protocol, sites and products are written by hand; its
layout and records are drawn with the protocol's seed, so a second run changes nothing (a test checks that).
"""

import sys
from pathlib import Path

from trialkit.planning.invented_county import TRUTHS, generate_records, write_records
from trialkit.planning.invented_returns import write_sheets
from trialkit.protocol.randomise import randomise
from trialkit.rules.trial_folder import read_trial
from trialkit.tables.atomic import csv_text, write_text


def make_example(folder: Path) -> None:
    """Lay out one example and draw its records."""
    plan = read_trial(folder, stage="plan")
    write_text(folder / "layout.csv", csv_text(randomise(plan.protocol, plan.sites)))
    laid_out = read_trial(folder, stage="layout")
    truth = TRUTHS.get(laid_out.protocol.trial.id)
    tables = laid_out.sites, laid_out.layout, laid_out.products
    records = generate_records(laid_out.protocol, *tables, truth)
    write_records(folder, records)
    if laid_out.protocol.layout.kind == "volunteer blocks":
        write_sheets(folder, records.heads, laid_out.layout)


if __name__ == "__main__":
    for protocol in sorted(Path(sys.argv[1]).glob("*/trial.toml")):
        make_example(protocol.parent)

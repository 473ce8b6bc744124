"""A small plan of the invented county, as plain data."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from trialkit.cli.plan_steps import model_of
from trialkit.documents.document import as_data
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.plan import make_plan
from trialkit.rules.check import read_trial

PROTOCOL = """\
[trial]
title = "A small plan"
question = "Which dose?"
season = "autumn 2026"

[bucket]
heads = 2

[factors.cultivar]
levels = ["Fenleaf", "Paleheart"]

[factors.dose]
levels = {doses}
product = "Blend L"

[layout]
blocks = {blocks}
seed = 5

[schedule]
sow_on = 2026-08-06

[decision]
current_practice = {{ cultivar = "Fenleaf", dose = {current} }}
{decision}
"""
SITES = "site,name\nEAST,East End School\nMILL,Old Mill Library\nPOND,Pond Lane Allotments\n"
PRODUCTS = "product,kind,grams_per_tsp,price_per_kg\nBlend L,nutrient,5,12\n"


def write_plan_folder(
    folder: Path, *, blocks: int = 2, decision: str = "", doses: str = "[2, 4]", current: int = 4
) -> None:
    """Write a trial folder not laid out yet: three gardens, two cultivars, doses of which one is usual."""
    folder.mkdir(parents=True, exist_ok=True)
    protocol = PROTOCOL.format(blocks=blocks, decision=decision, doses=doses, current=current)
    (folder / "trial.toml").write_text(protocol, encoding="utf-8")
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    (folder / "products.csv").write_text(PRODUCTS, encoding="utf-8")


@cache
def small_plan(doses: str = "[2, 4]", current: int = 4) -> dict[str, Any]:
    """Return the plan; not to be changed."""
    with TemporaryDirectory() as name:
        write_plan_folder(Path(name), doses=doses, current=current)
        trial = read_trial(Path(name), stage="plan")
    return as_data(make_plan(trial, model_of(trial.protocol), Assumptions(), expected_power))

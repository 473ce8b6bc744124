"""A small plan of the invented county."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from trialkit.documents.document import as_written
from trialkit.documents.plan import Dropped, Plan, PlanVerdict, Refusal, VarianceSource
from trialkit.domain.treatment import Treatment
from trialkit.layouts.layout_warning import LayoutWarning
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.trial_plan import make_plan
from trialkit.rules.trial_folder import read_trial
from trialkit.steps.plan_steps import model_of

PROTOCOL = """\
[trial]
title = "A small plan"
question = "Which dose?"
season = "autumn 2026"

[bucket]
volume_l = 20
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
def small_plan(doses: str = "[2, 4]", current: int = 4, *, blocks: int = 2, decision: str = "") -> Plan:
    """Return the plan as it is written; each made once a session."""
    with TemporaryDirectory() as name:
        write_plan_folder(Path(name), doses=doses, current=current, blocks=blocks, decision=decision)
        trial = read_trial(Path(name), stage="plan")
    return as_written(make_plan(trial, model_of(trial.protocol), Assumptions(), expected_power))


def hostile_plan(words: Sequence[str]) -> Plan:
    """Return the plan with every name in it written by an attacker, and designs that cannot be analysed."""
    plan, word = small_plan(), words[0]

    def spoilt(treatment: Treatment) -> Treatment:
        return replace(treatment, cultivar=f"{words[1]}{treatment.cultivar}")

    refused = Refusal("not analysable", detail=word)
    dropped = Dropped("cultivar", word)
    unknown = replace(plan.designs[1], power=None, detectable_g=None, refused=refused, dropped=dropped)
    benches = [
        replace(
            bench,
            site=word,
            name=words[i % len(words)],
            places=tuple(replace(place, treatment=spoilt(place.treatment)) for place in bench.places),
        )
        for i, bench in enumerate(plan.benches)
    ]
    items = tuple(replace(item, product=item.product and word) for item in plan.shopping.items)
    return replace(
        plan,
        id=word,
        title=words[0] + words[1],
        question=words[1],
        season=words[2],
        practice=spoilt(plan.practice),
        value=replace(plan.value, now=spoilt(spoilt(plan.value.now))),
        source=VarianceSource("earlier trial", words[3]),
        proposed=1,
        verdict=PlanVerdict.ENLARGE,
        designs=(plan.designs[0], unknown, *plan.designs[2:]),
        warnings=(LayoutWarning("disconnected", groups=(tuple(words[:3]), tuple(words[3:]))),),
        benches=tuple(benches),
        shopping=replace(plan.shopping, items=items),
    )

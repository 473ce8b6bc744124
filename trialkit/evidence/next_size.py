"""How large the next trial must be, from the planning layer with the ledger's own variances."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import pandas as pd

from trialkit.documents.plan import VarianceSource
from trialkit.documents.pooled import NextSize
from trialkit.evidence.pooling import GROUPINGS, LEVELS, Pool
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.planned_design import planned_design
from trialkit.planning.planned_power import Goal

BLOCKS = 3
MOST_GARDENS = 24
POWER = 0.8


def next_size(pooled: Pool, rival: str, chosen: str, margin_g: float) -> NextSize:
    """Find the smallest trial of two treatments that shows a difference of the margin in four of five cases.

    Complete blocks of the two, three in each garden. Variances are the pool's: of yield per transplanted head, the
    bucket being the unit.

    Parameters
    ----------
    pooled : Pool
    rival, chosen : str
        Labels.
    margin_g : float
        g per transplanted head.
    """
    assumed = _assumptions(pooled, rival, chosen)
    goal = Goal(margin_g, {"treatment": "recommended"}, power=POWER)
    found = None
    for gardens in range(3, MOST_GARDENS + 1):
        power = _power(gardens, assumed, goal)
        found = NextSize(gardens, BLOCKS, gardens * BLOCKS * 2, margin_g, power, power >= POWER)
        if found.reached:
            return found
    assert found is not None
    return found


def _power(gardens: int, assumed: Assumptions, goal: Goal) -> float:
    places = list(product(range(gardens), range(BLOCKS), ("recommended", "rival")))
    layout = pd.DataFrame(places, columns=["site", "block", "treatment"]).astype(str)
    layout["bucket"] = [f"b{i}" for i in range(len(layout))]
    return expected_power(planned_design(layout, 1, ["treatment"], _model_of), assumed, goal).hardest.power


def _model_of(rows: pd.DataFrame) -> tuple[str, Sequence[str]]:  # noqa: ARG001
    return "weight_g ~ treatment", ["site", "site:block", "site:treatment"]


def _assumptions(pooled: Pool, rival: str, chosen: str) -> Assumptions:
    """The pool's variances; a treatment effect differs between gardens by those of the factors that differ."""
    variances = pooled.fit.variances.clip(lower=0.0)
    one, other = pooled.treatments.loc[rival], pooled.treatments.loc[chosen]
    differing = [name for name in LEVELS if one[name] != other[name]]
    among = sum(float(variances.get(f"{term}:{name}", 0.0)) for term in GROUPINGS for name in differing)
    return Assumptions(
        site=float(variances.get("trial_site", 0.0) + variances.get("trial", 0.0)),
        block=float(variances.get("trial_site:block", 0.0)),
        site_by_factor=among,
        bucket=0.0,
        head=float(variances["residual"]),
        source=VarianceSource("ledger"),
    )

"""What became of the heads, by treatment."""

from __future__ import annotations

import pandas as pd

from trialkit.analysis.answer import Losses, Treatment, TreatmentLosses

LOST = ("dead", "bolted", "missing")
WORRYING_DIFFERENCE = 0.2  # common practice, no source: a fifth of the heads


def count_losses(layout: pd.DataFrame, heads: pd.DataFrame, heads_per_bucket: int, treatments: pd.DataFrame) -> Losses:
    """Count planned, harvested and lost heads.

    Parameters
    ----------
    layout : pandas.DataFrame
        One row a bucket, with the joint ``treatment``.
    heads : pandas.DataFrame
        One row a recorded head, with ``treatment`` and ``outcome``.
    heads_per_bucket : int
    treatments : pandas.DataFrame
        Combinations by joint label.
    """
    outcomes = heads["outcome"].value_counts()
    planned = layout["treatment"].value_counts() * heads_per_bucket
    harvested = heads.loc[heads["outcome"] == "harvested", "treatment"].value_counts()
    lost = heads.loc[heads["outcome"].isin(LOST), "treatment"].value_counts()
    rows = tuple(
        TreatmentLosses(
            _treatment(treatments, str(label)),
            int(planned.get(label, 0)),
            int(harvested.get(label, 0)),
            int(lost.get(label, 0)),
        )
        for label in treatments.index
    )
    counts = {outcome: int(outcomes.get(outcome, 0)) for outcome in ("harvested", "not_ready", *LOST)}
    return Losses(
        planned=len(layout) * heads_per_bucket,
        recorded=len(heads),
        by_treatment=rows,
        statement=_statement(rows, counts),
        **counts,
    )


def _treatment(treatments: pd.DataFrame, label: str) -> Treatment:
    return {str(column): value for column, value in treatments.loc[label].items()}


def _statement(rows: tuple[TreatmentLosses, ...], counts: dict[str, int]) -> str:
    """Say how many heads were lost, and warn where losses differ between treatments."""
    lost = sum(row.lost for row in rows)
    planned = sum(row.planned for row in rows)
    first = f"{counts['harvested']} of {planned} planned heads were harvested and {lost} were lost."
    shares = [row.lost / row.planned for row in rows if row.planned]
    if shares and max(shares) - min(shares) > WORRYING_DIFFERENCE:
        return (
            f"{first} Losses differ between treatments (from {min(shares):.0%} to {max(shares):.0%}): the weights are "
            "those of the survivors, which flatters a treatment that killed the weak."
        )
    return f"{first} Losses are spread over the treatments."

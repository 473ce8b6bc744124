"""What became of the heads, by treatment and by garden."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from trialkit.analysis.answer import Losses, SiteLosses, Treatment, TreatmentLosses

LOST = ("dead", "bolted", "missing")
WORRYING_DIFFERENCE = 0.2  # common practice, no source: a fifth of the heads


def count_losses(layout: pd.DataFrame, heads: pd.DataFrame, heads_per_bucket: int, treatments: pd.DataFrame) -> Losses:
    """Count planned, harvested and lost heads.

    Parameters
    ----------
    layout : pandas.DataFrame
        One row a bucket, with site and the joint ``treatment``.
    heads : pandas.DataFrame
        One row a recorded head, with site, ``treatment`` and ``outcome``.
    heads_per_bucket : int
    treatments : pandas.DataFrame
        Combinations by joint label.
    """
    by_treatment = tuple(
        TreatmentLosses(_treatment(treatments, label), *_counts(layout, heads, heads_per_bucket, "treatment", label))
        for label in treatments.index
    )
    by_site = tuple(
        SiteLosses(site, *_counts(layout, heads, heads_per_bucket, "site", site))
        for site in sorted(layout["site"].unique())
    )
    outcomes = heads["outcome"].value_counts()
    counts = {outcome: int(outcomes.get(outcome, 0)) for outcome in ("harvested", "not_ready", *LOST)}
    planned = len(layout) * heads_per_bucket
    counts |= {"planned": planned, "recorded": len(heads), "unrecorded": max(planned - len(heads), 0)}
    return Losses(
        by_treatment=by_treatment, by_site=by_site, statement=_statement(by_treatment, by_site, counts), **counts
    )


def share_lost(row: TreatmentLosses | SiteLosses) -> float:
    """Share of the planned heads that were dead, bolted or missing."""
    return row.lost / row.planned if row.planned else 0.0


def _counts(
    layout: pd.DataFrame, heads: pd.DataFrame, per_bucket: int, column: str, level: str
) -> tuple[int, int, int]:
    """Planned, harvested and lost heads of one level."""
    outcomes = heads.loc[heads[column] == level, "outcome"]
    planned = int((layout[column] == level).sum()) * per_bucket
    return planned, int((outcomes == "harvested").sum()), int(outcomes.isin(LOST).sum())


def _treatment(treatments: pd.DataFrame, label: str) -> Treatment:
    return {str(column): value for column, value in treatments.loc[label].items()}


def _statement(by_treatment: Sequence[TreatmentLosses], by_site: Sequence[SiteLosses], counts: dict[str, int]) -> str:
    """Say what became of every planned head, and warn where losses differ between treatments or gardens."""
    lost = sum(counts[outcome] for outcome in LOST)
    parts = [f"{counts['harvested']} of {counts['planned']} planned heads were harvested", f"{lost} lost"]
    parts += [f"{counts['not_ready']} not ready at the end"] * bool(counts["not_ready"])
    parts += [f"{counts['unrecorded']} not recorded"] * bool(counts["unrecorded"])
    sentences = [", ".join(parts) + "."]
    low, high = _range(by_treatment)
    if high - low > WORRYING_DIFFERENCE:
        sentences.append(
            f"Losses differ between treatments (from {low:.0%} to {high:.0%}): the weights are those of the survivors, "
            "which flatters a treatment that killed the weak."
        )
    low, high = _range(by_site)
    if high - low > WORRYING_DIFFERENCE:
        worst = max(by_site, key=share_lost)
        sentences.append(f"Losses differ between gardens: {worst.site} lost {high:.0%} of its heads.")
    if counts["planned"] and counts["unrecorded"] / counts["planned"] > WORRYING_DIFFERENCE:
        sentences.append("Many heads have no record yet: the answer is that of an unfinished trial.")
    return " ".join(sentences)


def _range(rows: Sequence[TreatmentLosses | SiteLosses]) -> tuple[float, float]:
    shares = [share_lost(row) for row in rows] or [0.0]
    return min(shares), max(shares)

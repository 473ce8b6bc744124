"""What became of the heads, by treatment and by garden."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from trialkit.analysis.share_variation import ShareVariation, share_variation
from trialkit.documents.findings import (
    FactorLosses,
    FactorShare,
    HeadCounts,
    Interval,
    Losses,
    SiteLosses,
    TreatmentLosses,
)
from trialkit.domain.heads import LOST, OUTCOMES, is_harvested, is_recorded, is_usable
from trialkit.domain.treatment import Treatment
from trialkit.stats.shares import (
    GroupShares,
    Share,
    overdispersion,
    shares_by_clusters,
    shares_by_design_effect,
    usable_heads,
)

WORRYING_DIFFERENCE = 0.2
"""A fifth of the heads (common practice, no source)."""
DIFFER_P = 0.05


def count_losses(
    layout: pd.DataFrame,
    heads: pd.DataFrame,
    treatments: pd.DataFrame,
    current: str,
    confidence: float,
    strata: Sequence[str],
) -> Losses:
    """Count planned, harvested and lost heads, and compare the shares that were marketable.

    The layout has a row a bucket, with its ``planned`` heads, site, the places that the strata, such as
    ``"site:block"``, name, and the joint ``treatment``; `heads` a row a head, with ``outcome`` and ``marketable``
    (missing where not said) too. Treatments go by joint label, as `current` does.
    """
    outcomes = heads["outcome"].value_counts()
    heads = heads[is_recorded(heads)]
    places = {column: None for term in ("site", *strata) for column in term.split(":")}
    buckets = usable_heads(heads, ["treatment", *treatments.columns, *places])
    design_effect = overdispersion(buckets)
    variation = share_variation(buckets, tuple(map(str, treatments.columns)), strata)
    shares = _shares(buckets, "treatment", variation, design_effect)
    at = {label: i for i, label in enumerate(shares.labels)}
    counted = _counts(layout, heads, "treatment", [str(label) for label in treatments.index])
    by_treatment = tuple(
        TreatmentLosses(
            _treatment(treatments, label),
            counts,
            share_usable(counts),
            _interval(shares.share(at[label], confidence) if label in at else None),
            _interval(shares.difference(at[label], at[current], confidence))
            if label != current and {label, current} <= set(at)
            else None,
        )
        for label, counts in counted.items()
    )
    by_factor = tuple(
        _factor_losses(buckets, str(column), variation, design_effect, confidence) for column in treatments.columns
    )
    by_site = tuple(
        SiteLosses(site, counts, share_usable(counts))
        for site, counts in _counts(layout, heads, "site", sorted(layout["site"].unique())).items()
    )
    total = _total([row.heads for row in by_site])
    return Losses(
        heads=total,
        recorded=len(heads),
        outcomes={outcome: int(outcomes[outcome]) for outcome in OUTCOMES if outcome and outcome in outcomes},
        by_treatment=by_treatment,
        by_site=by_site,
        by_factor=by_factor,
        design_effect=design_effect,
        treatments_vary=_vary(by_treatment),
        gardens_vary=_vary(by_site),
        unfinished=bool(total.planned and total.unrecorded / total.planned > WORRYING_DIFFERENCE),
        share_sd_logit=None if variation is None else variation.sd_logit,
    )


def _shares(
    buckets: pd.DataFrame, column: str, variation: ShareVariation | None, design_effect: float, *, alike: bool = False
) -> GroupShares:
    """Shares by level of a column, by the fitted model where there is one."""
    if variation is None:
        return shares_by_design_effect(buckets, column, design_effect, alike=alike)
    return shares_by_clusters(buckets, column, variation.clusters, variation.bucket, alike=alike)


def _interval(share: Share | None) -> Interval | None:
    return None if share is None else Interval(share.share, share.lower, share.upper)


def _factor_losses(
    buckets: pd.DataFrame, column: str, variation: ShareVariation | None, design_effect: float, confidence: float
) -> FactorLosses:
    shares = _shares(buckets, column, variation, design_effect)
    found = [(level, shares.share(i, confidence)) for i, level in enumerate(shares.labels)]
    test = _shares(buckets, column, variation, design_effect, alike=True).compare()
    return FactorLosses(
        column,
        tuple(
            FactorShare(
                float(level) if isinstance(level, float) else str(level), int(n), Interval(s.share, s.lower, s.upper)
            )
            for (level, s), n in zip(found, shares.recorded, strict=True)
            if s is not None
        ),
        test.chi_square,
        test.df,
        test.p,
        differ=test.p is not None and test.p < DIFFER_P,
        denominator_df=test.denominator_df,
    )


def share_usable(heads: HeadCounts) -> float | None:
    """Share of the recorded heads that were marketable: harvested, and not marked unmarketable."""
    recorded = heads.planned - heads.unrecorded
    return (heads.harvested - heads.unmarketable) / recorded if recorded else None


def _counts(layout: pd.DataFrame, heads: pd.DataFrame, column: str, levels: Sequence[str]) -> dict[str, HeadCounts]:
    """Count the heads of each level."""
    harvested = is_harvested(heads)
    told = pd.DataFrame(
        {
            "recorded": True,
            "harvested": harvested,
            "lost": heads["outcome"].isin(LOST),
            "not_ready": heads["outcome"] == "not_ready",
            "unmarketable": harvested & ~is_usable(heads),
        }
    )
    found = told.groupby(heads[column], observed=True).sum().reindex(levels, fill_value=0).astype(int)
    planned = layout.groupby(column, observed=True)["planned"].sum().reindex(levels, fill_value=0)
    return {
        level: HeadCounts(planned=most, unrecorded=max(most - recorded, 0), **counted)
        for level, most, recorded, counted in zip(
            levels, planned.tolist(), found.pop("recorded").tolist(), found.to_dict("records"), strict=True
        )
    }


def _total(counts: Sequence[HeadCounts]) -> HeadCounts:
    return HeadCounts(**{name: sum(getattr(one, name) for one in counts) for name in HeadCounts.__dataclass_fields__})


def _treatment(treatments: pd.DataFrame, label: str) -> Treatment:
    return Treatment.of(treatments.loc[label])


def _vary(rows: Sequence[TreatmentLosses | SiteLosses]) -> bool:
    """Whether shares of usable heads are worryingly far apart."""
    shares = [row.share_usable for row in rows if row.share_usable is not None] or [0.0]
    return max(shares) - min(shares) > WORRYING_DIFFERENCE

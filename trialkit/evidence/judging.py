"""The pooled trials judged as one trial is, and what the judgement's two treatments did in each of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit.analysis.decision import CandidateField, judge, thresholds_of
from trialkit.analysis.draws import MeanDraws, draw_means
from trialkit.analysis.losses import WORRYING_DIFFERENCE
from trialkit.analysis.worth import worth
from trialkit.documents.findings import Comparison, Decision, Evidence
from trialkit.documents.pooled import ClassGain, TrialGain, TrialGains
from trialkit.documents.recommended import GainsByClass
from trialkit.domain.rounding import ROUNDING
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.evidence.classes import class_gains, season_class, water_class
from trialkit.evidence.differences import combined_gains, garden_gains, trial_gains
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.evidence.pooling import GROUPINGS, LEVELS, Pool, links
from trialkit.evidence.summary_results import summary_gains
from trialkit.solution.mixing import ALKALINITY_CLASSES

EVIDENCE_STREAM = 7
"""Of the newest protocol's seed; a single trial uses streams up to 6."""
FEWEST_TRIALS = 2
SEASONS = ("spring", "summer", "autumn", "winter")


def judged(found: LedgerContents, pooled: Pool, comparisons: pd.DataFrame, df: float) -> tuple[Decision, MeanDraws]:
    """Draw what each treatment would give in a new garden and season, and judge."""
    protocol, labels = found.latest.protocol, list(pooled.treatments.index)
    seed = protocol.seed_of(EVIDENCE_STREAM)
    levels = pooled.treatments[[name for name in LEVELS if name in pooled.varied] or list(LEVELS)]
    draws = draw_means(pooled.fit, levels, df, seed, among=GROUPINGS)
    counts = pooled.every.groupby("treatment", observed=True)[["planned", "recorded", "usable"]].sum().loc[labels]
    unrecorded = (1 - counts["recorded"] / counts["planned"]).to_numpy(float)
    current = labels.index(pooled.current)
    buckets = pooled.rows.groupby("treatment", observed=True).size().loc[labels]
    treatments = tuple(found.treatment(label) for label in labels)
    fields = CandidateField(
        treatments=treatments,
        current=current,
        yields=draws,
        days=None,
        usable=tuple((counts["usable"] / counts["recorded"].clip(lower=1)).to_numpy(float)),
        unrecorded=tuple(unrecorded),
        eligible=tuple(
            abs(u - unrecorded[current]) <= WORRYING_DIFFERENCE + ROUNDING
            and (i == current or tried_enough(pooled, label))
            for i, (u, label) in enumerate(zip(unrecorded, labels, strict=True))
        ),
        buckets=tuple(int(count) for count in buckets),
    )
    solution = found.latest.solution.merge(found.latest.layout[["bucket", "acidifier"]], on="bucket")
    valued = worth(protocol, found.latest.products, solution, pd.DataFrame(list(treatments)), current, False)
    compared = tuple(
        Comparison(
            treatment=found.treatment(str(label)),
            difference=float(row["estimate"]),
            se=float(row["se"]),
            df=float(row["df"]),
            lower=float(row["lower"]),
            upper=float(row["upper"]),
            p=float(row["p"]),
        )
        for label, row in comparisons.iterrows()
    )
    evidence = Evidence(len(pooled.rows), pooled.rows["site"].nunique(), _seasons(found, pooled), pooled.trials)
    return judge(fields, valued, thresholds_of(protocol.decision), compared, (), evidence), draws


def tried_enough(pooled: Pool, label: str) -> bool:
    """Whether a treatment may become the default: from three trials on, only if two or more of them tried it.

    One trial is an anecdote with error bars: what it says of a treatment may be its season's luck, which the others
    cannot tell.
    """
    return pooled.trials < FEWEST_RANDOM_LEVELS or links(pooled, label)[0] >= FEWEST_TRIALS


def _seasons(found: LedgerContents, pooled: Pool) -> tuple[str, ...]:
    """Seasons of the trials that the answer rests on."""
    kept = set(pooled.rows["trial"].cat.categories)
    return tuple(entry.listed.season for entry in found.entries if entry.listed.id in kept and entry.listed.season)


def shown_beside(decision: Decision, labels: Sequence[str], chosen: str, current: str) -> str | None:
    """The treatment that pictures set beside the current practice: the one chosen, else the strongest rival."""
    if chosen != current:
        return chosen
    others = [
        (one.probability_better or 0.0, one.expected_value, label)
        for one, label in zip(decision.candidates, labels, strict=True)
        if one.eligible and not one.is_current
    ]
    return max(others)[2] if others else None


def gains(
    found: LedgerContents, pooled: Pool, shown: str | None, df: float
) -> tuple[dict[str, TrialGain], TrialGains | None, GainsByClass | None]:
    """Gains by trial, how they add up with those of means alone in the order of seasons, and by class."""
    if shown is None:
        return {}, None, None
    summaries = list(summary_gains(found, pooled, shown))
    gardens = garden_gains(pooled, shown)
    by_trial = combined_gains(gardens, pooled, shown, ["trial"]).set_index("trial") if len(gardens) else gardens
    own = {
        entry.listed.id: TrialGain(
            entry.listed.trial,
            entry.listed.season,
            float(by_trial.loc[entry.listed.id, "gain"]),
            float(np.sqrt(by_trial.loc[entry.listed.id, "variance"])),
            int(by_trial.loc[entry.listed.id, "gardens"]),
        )
        for entry in found.entries
        if entry.listed.id in by_trial.index
    }
    begun = [(entry.listed.started_on, own[entry.listed.id]) for entry in found.entries if entry.listed.id in own]
    ordered = [gain for _, gain in sorted([*summaries, *begun], key=lambda one: one[0])]
    if not ordered:
        return own, None, None
    classes = _classes(found, pooled, shown, gardens) if len(gardens) else None
    return own, trial_gains(ordered, df, found.confidence), classes


def _classes(found: LedgerContents, pooled: Pool, shown: str, gardens: pd.DataFrame) -> GainsByClass:
    sites = {
        (entry.listed.id, one.site): (water_class(one.alkalinity_mg_l_caco3), one.kind or None)
        for entry in found.entries
        for one in entry.of_trial.sites
    }
    seasons = {entry.listed.id: season_class(entry.listed.season) for entry in found.entries}
    keys = list(zip(gardens["trial"].astype(str), gardens["site"].astype(str), strict=True))
    labelled = gardens.assign(
        water=[sites.get(key, (None, None))[0] for key in keys],
        kind=[sites.get(key, (None, None))[1] for key in keys],
        season=[seasons[trial] for trial, _ in keys],
    )
    scale = found.latest.protocol.decision.margin_g or 10.0
    kinds = tuple(sorted({kind for _, kind in sites.values() if kind}))

    def gains(column: str, names: Sequence[str]) -> tuple[ClassGain, ...]:
        known = labelled[labelled[column].notna()]
        if known.empty:
            return ()
        units = combined_gains(known, pooled, shown, ["trial", column])
        return class_gains(
            units["gain"].to_numpy(float),
            units["variance"].to_numpy(float),
            units[column].tolist(),
            units["gardens"].tolist(),
            names,
            scale,
            found.confidence,
        )

    return GainsByClass(
        gains("water", [name for name, *_ in ALKALINITY_CLASSES]), gains("season", SEASONS), gains("kind", kinds)
    )

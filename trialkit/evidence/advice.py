"""What goes with a recommended practice: what to expect of it, its acid by class of water, the trial to run next."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import stdtrit

from trialkit.analysis.draws import MeanDraws
from trialkit.documents.findings import Decision
from trialkit.documents.recommended import AcidForClass, Expected, ProposedTrial
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.evidence.next_size import next_size
from trialkit.evidence.pooling import GROUPINGS, Pool
from trialkit.rules.mixings import acid_product
from trialkit.rules.trial_folder import read_trial
from trialkit.solution.mixing import TARGET_PH, acid_by_class
from trialkit.stats.meta import combine

USUAL_MARGIN_G = 10.0
"""Where the protocol has none (common practice, no source)."""


def expected_yield(pooled: Pool, label: str, draws: MeanDraws, at: int, df: float, confidence: float) -> Expected:
    """What a transplanted head yields, on average and in a new garden and season."""
    row = pooled.fit.means("treatment", confidence=confidence).loc[label]
    among = sum(max(float(value), 0.0) for term, value in pooled.fit.variances.items() if str(term) in GROUPINGS)
    garden = draws.garden[:, at]
    half = float(stdtrit(df, (1 + confidence) / 2)) * float(np.sqrt(garden.var() + among))
    mean = float(row["mean"])
    known = "trial_site" in pooled.random
    return Expected(
        mean,
        float(row["lower"]),
        float(row["upper"]),
        max(mean - half, 0.0) if known else None,
        mean + half if known else None,
    )


def expected_days(found: LedgerContents, label: str) -> Expected | None:
    """Days to harvest of a treatment: each trial's mean, combined."""
    row, rows = found.treatments.loc[label], found.rows
    means, variances, df = [], [], np.inf
    for entry in found.entries:
        own = rows[(rows["trial"] == entry.listed.id) & (rows["treatment"] == label)]
        if own.empty:
            continue
        wanted = Treatment.of({**row, "dose_tsp": own["dose_tsp"].iloc[0]})
        for one in entry.of_trial.days:
            if wanted.among(one.treatment.levels) == one.treatment and one.se > 0:
                means.append(one.mean)
                variances.append(one.se**2)
                df = min(df, one.df)
    if not means:
        return None
    confidence = found.confidence
    if len(means) == 1:
        half = float(stdtrit(df, (1 + confidence) / 2)) * float(np.sqrt(variances[0]))
        return Expected(means[0], means[0] - half, means[0] + half, None, None)
    enough = len(means) >= FEWEST_RANDOM_LEVELS
    combined = combine(np.array(means), np.array(variances), between=enough)
    lower, upper = combined.interval(confidence) if enough else combined.common(df, confidence)
    new = combined.prediction(confidence)
    return Expected(float(combined.estimates[0]), lower, upper, *(new or (None, None)))


def acid_for_classes(found: LedgerContents, label: str) -> tuple[AcidForClass, ...]:
    """Acid of the recommended practice by class of water."""
    row, protocol = found.treatments.loc[label], found.latest.protocol
    product = None
    for entry in reversed(found.entries):  # the newest shelf that has it
        newest = entry is found.entries[-1]
        shelf = found.latest if newest else read_trial(entry.folder, stage="plan")
        product = acid_product(shelf.products, str(row["acidifier"]))
        if product is not None:
            break
    if product is None:
        return ()
    waters = {
        (one.site, one.alkalinity_mg_l_caco3)
        for entry in found.entries
        for one in entry.of_trial.sites
        if one.alkalinity_mg_l_caco3 is not None
    }
    dose = found.dose_tsp(label) if row["n_level"] else 0.0
    rows = acid_by_class(
        protocol.bucket.volume_l,
        product,
        TARGET_PH,
        product=found.nutrient,
        nutrient_tsp=dose,
    )
    return tuple(
        AcidForClass(
            one.name,
            one.lower,
            one.upper,
            one.acid.tsp,
            one.acid.solution_tsp,
            one.step.tsp if one.step else None,
            one.ph_at_lower,
            one.ph_at_upper,
            sum(one.lower <= alkalinity < (math.inf if one is rows[-1] else one.upper) for _, alkalinity in waters),
        )
        for one in rows
    )


def next_trial(found: LedgerContents, pooled: Pool, decision: Decision, draws: MeanDraws, chosen: str) -> ProposedTrial:
    """The trial that would tell most: the recommended practice and the rival that is likeliest to be ahead of it.

    A treatment that too few trials tried to be recommended can be that rival.
    """
    labels = list(pooled.treatments.index)
    at = labels.index(chosen)
    others = np.arange(len(labels)) != at
    ahead = (draws.garden[:, others] > draws.garden[:, [at]]).mean(0)
    rival = [label for label in labels if label != chosen][int(ahead.argmax())]
    margin = decision.thresholds.margin_g or USUAL_MARGIN_G
    return ProposedTrial(
        recommended=found.treatment(chosen),
        rival=found.treatment(rival),
        probability_ahead=float(ahead.max()),
        size=next_size(pooled, rival, chosen, margin),
    )

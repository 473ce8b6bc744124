"""What goes with a recommended practice: what to expect of it, its acid by class of water, the trial to run next."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from trialkit.analysis.draws import MeanDraws
from trialkit.documents.findings import Decision
from trialkit.documents.recommended import AcidForClass, Classes, Expected, NextTrial
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.evidence.next_size import next_size
from trialkit.evidence.pooling import Pool
from trialkit.evidence.situation import Situation
from trialkit.rules.check import read_trial
from trialkit.rules.mixings import acid_product, nutrient_of
from trialkit.solution.mixing import TARGET_PH, acid_by_class
from trialkit.stats.meta import combine
from trialkit.words.phrases import chance
from trialkit.words.treatments import treatment_words

USUAL_MARGIN_G = 10.0
"""Where the protocol has none (common practice, no source)."""


def expected_yield(pooled: Pool, label: str, draws: MeanDraws, at: int, df: float, confidence: float) -> Expected:
    """What a planted head yields, on average and in a new garden and season."""
    row = pooled.fit.means("treatment", confidence=confidence).loc[label]
    among = sum(
        max(float(value), 0.0) for term, value in pooled.fit.variances.items() if str(term) in ("trial", "garden")
    )
    garden = draws.garden[:, at]
    half = float(stdtrit(df, (1 + confidence) / 2)) * float(np.sqrt(garden.var() + among))
    mean = float(row["mean"])
    known = "garden" in pooled.random
    return Expected(
        mean,
        float(row["lower"]),
        float(row["upper"]),
        max(mean - half, 0.0) if known else None,
        mean + half if known else None,
    )


def expected_days(found: Situation, label: str) -> Expected | None:
    """Days to harvest of a treatment: each trial's mean, combined."""
    wanted = found.treatments.loc[label]
    rows = found.rows
    means, variances, df = [], [], np.inf
    for entry in found.entries:
        own = rows[(rows["trial"] == entry.listed.id) & (rows["treatment"] == label)]
        if own.empty:
            continue
        dose = own["dose_tsp"].iloc[0]
        for one in entry.facts["days"]:
            same = one.get("cultivar", wanted["cultivar"]) == wanted["cultivar"]
            same &= one.get("acidifier", wanted["acidifier"]) == wanted["acidifier"]
            same &= "dose_tsp" not in one or pd.isna(dose) or float(one["dose_tsp"]) == float(dose)
            if same and one["se"] and one["se"] > 0:
                means.append(float(one["mean"]))
                variances.append(float(one["se"]) ** 2)
                df = min(df, float(one["df"]))
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


def acid_for_classes(found: Situation, label: str) -> tuple[AcidForClass, ...]:
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
        (one["site"], one["alkalinity_mg_l_caco3"])
        for entry in found.entries
        for one in entry.facts["sites"]
        if one["alkalinity_mg_l_caco3"] is not None
    }
    dose = found.dose_tsp(label) if row["n_level"] else 0.0
    rows = acid_by_class(
        protocol.bucket.volume_l,
        product,
        TARGET_PH,
        product=nutrient_of(protocol, found.latest.products),
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


def next_trial(
    found: Situation, pooled: Pool, decision: Decision, draws: MeanDraws, chosen: str, classes: Classes | None
) -> NextTrial:
    """The trial that would tell most: the recommended practice beside the rival that is likeliest to beat it.

    A treatment that too few trials tried to be recommended can be that rival.
    """
    labels = list(pooled.treatments.index)
    at = labels.index(chosen)
    others = np.arange(len(labels)) != at
    ahead = (draws.garden[:, others] > draws.garden[:, [at]]).mean(0)
    rival = [label for label in labels if label != chosen][int(ahead.argmax())]
    pair = found.words(chosen), found.words(rival)
    unseen = [] if classes is None else [one.name for one in classes.water if not one.gardens]
    seasons = [] if classes is None else [one.name for one in classes.season if not one.gardens]
    where = []
    if unseen:
        where.append(f"gardens whose water has {' or '.join(unseen)} alkalinity, of which the ledger knows nothing")
    if seasons:
        where.append(f"a {' or '.join(seasons)} season, which it has not seen")
    why = (
        f"Of all that was tried, {treatment_words(pair[1])} has the best chance of being ahead of what is recommended: "
        f"{chance(float(ahead.max()))} in a new garden."
    )
    if where:
        why += f" It would tell most in {'; and in '.join(where)}."
    margin = float(decision.thresholds["margin_g"] or USUAL_MARGIN_G)
    question = f"Is {treatment_words(pair[1])} better than {treatment_words(pair[0])}?"
    return NextTrial(question, pair, why, next_size(pooled, rival, chosen, margin))

"""What a data package holds beside the records for whoever explores them: a picture of raw weights, and agreement.

Seaborn draws and pingouin measures; both take a second to load, and only a package needs them.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from trialkit.analysis.recorded_responses import YIELD, bucket_yields
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.treatment import Treatment
from trialkit.pages.safe_text import safe_text, shorten
from trialkit.rules.mixings import mixings, predicted_ph
from trialkit.rules.trial_folder import CheckedTrial

ICC_MEASURE, EFFECT_MEASURE = "intraclass correlation ICC(A,1)", "Hedges' g"
FEWEST_READINGS = 10
"""Of a garden: fewer tell next to nothing of agreement."""
DECIMALS = 6
ALL_GARDENS = "all"
ROW_INCHES = 0.24
LONGEST_NAME = 24


Agreement = tuple[str, str, str | None, float | None, str | None, int, str, float, float, float]
"""A measure of agreement, or of effect, with its 95 % interval: a row of the columns of `DESCRIPTIONS`."""
DESCRIPTIONS = {
    "comparison": "What was compared with what.",
    "site": "Garden, or all.",
    "cultivar": "Cultivar of the treatment; empty where pH was compared.",
    "dose_tsp": "Level teaspoons of nutrient a bucket of the treatment.",
    "acidifier": "Acid of the treatment.",
    "buckets": "Buckets that it rests on; of a treatment, without those of the current practice.",
    "measure": "Intraclass correlation of single readings for absolute agreement (McGraw & Wong 1996, Psychol. Methods "
    "1, 30-46), or standardised difference of bucket weights without regard to blocks (Hedges 1981, J. Educ. Stat. 6, "
    "107-128).",
    "value": "Its value.",
    "lower": "Lower limit of its 95 % interval.",
    "upper": "Upper limit of its 95 % interval.",
}


def agreement_table(trial: CheckedTrial) -> pd.DataFrame:
    """Agreement of the pH read with the pH foreseen, and the effect of each treatment against the current practice."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of pandas, about how pingouin calls it
        found = [*_ph_agreement(trial), *_effects(trial)]
    return pd.DataFrame(found, columns=list(DESCRIPTIONS)).round(dict.fromkeys(("value", "lower", "upper"), DECIMALS))


def _ph_agreement(trial: CheckedTrial) -> Iterator[Agreement]:
    """Whether strip or meter and the charge balance say the same of each bucket: by garden, then over all."""
    import pingouin as pg

    mixed = mixings(trial.protocol, trial.products, trial.sites, trial.layout, trial.solution)
    mixed = mixed.assign(foreseen=predicted_ph(mixed, mixed["water_alkalinity"]))
    both = mixed[mixed["ph_after"].notna() & mixed["foreseen"].notna()]
    groups = [*both.groupby("site", sort=True), (ALL_GARDENS, both)]
    for site, rows in groups:
        if len(rows) < FEWEST_READINGS or np.ptp(rows[["ph_after", "foreseen"]].to_numpy(float)) == 0:
            continue
        long = rows[["bucket", "ph_after", "foreseen"]].melt("bucket", var_name="way", value_name="ph")
        long["ph"] = long["ph"].astype(float)
        icc = pg.intraclass_corr(long, targets="bucket", raters="way", ratings="ph").set_index("Type").loc["ICC(A,1)"]
        lower, upper = map(float, icc["CI95"])
        yield (
            "pH read after mixing with pH foreseen", str(site), None, None, None, len(rows), ICC_MEASURE,
            float(icc["ICC"]), lower, upper,
        )  # fmt: skip


def _effects(trial: CheckedTrial) -> Iterator[Agreement]:
    """Standardised difference of each treatment's bucket weights from those of the current practice."""
    import pingouin as pg

    given = trial.protocol.decision.current_practice
    practice = Treatment.of({FACTOR_COLUMNS[name]: level for name, level in given.items()})
    weights = {label: rows[YIELD].to_numpy(float) for label, rows in _by_treatment(trial)}
    base = weights.get(practice, np.empty(0))
    for treatment, values in weights.items():
        if treatment == practice or min(len(values), len(base)) < 2 or np.var(values) + np.var(base) == 0:
            continue
        value = float(pg.compute_effsize(values, base, eftype="hedges"))
        lower, upper = map(float, pg.compute_esci(value, len(values), len(base), eftype="hedges", decimals=6))
        yield (
            "bucket weight with the current practice", ALL_GARDENS, treatment.cultivar, treatment.dose_tsp,
            treatment.acidifier, len(values), EFFECT_MEASURE, value, lower, upper,
        )  # fmt: skip


def _by_treatment(trial: CheckedTrial) -> Iterator[tuple[Treatment, pd.DataFrame]]:
    buckets = bucket_yields(trial.layout, trial.heads, trial.protocol.bucket.heads).buckets
    columns = [FACTOR_COLUMNS[name] for name in trial.protocol.decision.current_practice]
    for levels, rows in buckets.groupby(columns, sort=True, observed=True):
        yield Treatment.of(dict(zip(columns, levels, strict=True))), rows


def raw_records_svg(trial: CheckedTrial) -> bytes | None:
    """Draw the marketable weight of every bucket by treatment, each garden in a lane and colour of its own.

    None where no garden has a marketable head that was weighed.
    """
    treatments = list(_by_treatment(trial))
    if not treatments:
        return None
    import matplotlib as mpl
    from matplotlib.figure import Figure

    rows = [
        (str(place), safe_text(str(site)), float(weight))  # by place: two long names may be shortened alike
        for place, (_, buckets) in enumerate(treatments)
        for site, weight in zip(buckets["site"], buckets[YIELD], strict=True)
    ]
    data = pd.DataFrame(rows, columns=["treatment", "garden", "weight"])
    ours: dict[Any, Any] = {"svg.hashsalt": "raw_records", "text.parse_math": False, "font.family": "DejaVu Sans"}
    with mpl.rc_context(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # letters that strangers typed
        mpl.rcdefaults()
        mpl.rcParams.update(ours)
        import seaborn as sns

        figure = Figure(
            figsize=(11, 1.5 + ROW_INCHES * max(len(treatments), data["garden"].nunique())),
            layout="constrained",
        )
        axes = figure.add_subplot()
        sns.stripplot(
            data, x="weight", y="treatment", hue="garden", palette="colorblind", dodge=True, jitter=False, size=4,
            alpha=0.8, ax=axes,
        )  # fmt: skip
        sns.move_legend(axes, "upper left", bbox_to_anchor=(1, 1), title="garden", frameon=False)
        axes.set(xlabel="marketable weight of a bucket, g", ylabel="")
        axes.set_yticks(range(len(treatments)), [_short_name(treatment) for treatment, _ in treatments])
        axes.grid(axis="y", linewidth=0.5)
        stream = io.BytesIO()
        figure.savefig(stream, format="svg", metadata={"Date": None})
    return stream.getvalue()


def _short_name(treatment: Treatment) -> str:
    parts = (f"{level:g} tsp" if isinstance(level, float) else str(level) for level in treatment.levels.values())
    return ", ".join(shorten(safe_text(part), LONGEST_NAME) for part in parts)

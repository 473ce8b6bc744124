"""`analyse`: everything that a trial has to say."""

from __future__ import annotations

import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from importlib.metadata import version

import numpy as np
import pandas as pd

from trialkit.analysis.answer import Decision, Losses, ResponseResult
from trialkit.analysis.decision import FEWEST_DF, FloatArray, draw_means, judge
from trialkit.analysis.decision_words import Evidence, Thresholds
from trialkit.analysis.derived_model import DerivedModel, derive_model
from trialkit.analysis.document import (
    About,
    AcidUsed,
    Design,
    FixedFactor,
    InputFile,
    Results,
    Site,
    VariedFactor,
)
from trialkit.analysis.losses import count_losses
from trialkit.analysis.response import Fits, Question, analyse_response
from trialkit.analysis.worth import worth
from trialkit.errors import NotComputed
from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.trial.check import Trial
from trialkit.trial.protocol import FACTOR_COLUMNS

# Streams of the protocol's seed; the layout is stream 0, an example's records stream 2.
WEIGHT_STREAM, DAYS_STREAM = 1, 3
LIBRARIES = ("numpy", "scipy", "pandas", "formulaic", "statsmodels", "pingouin")
FACTOR_WORDS = {"cultivar": ("cultivar", None), "dose": ("nutrient dose", "tsp"), "acidifier": ("acidifier", None)}
FIXED_HARVEST = (
    "Every head of a garden was cut on one day, so days to harvest were fixed by the plan and say nothing about the "
    "treatments."
)


def analyse(trial: Trial) -> Results:
    """Analyse a checked trial.

    Parameters
    ----------
    trial : Trial
        As `trialkit.check` returns it; it must have no error.

    Returns
    -------
    Results
        The same trial gives the same results; ``as_document()`` is what ``schemas/results.schema.json`` describes.

    Raises
    ------
    NotComputed
        If no head was harvested.
    """
    treatments = joint_treatments(trial)
    layout = label_treatments(trial.layout, treatments)
    heads = trial.heads.merge(layout, on="bucket", validate="many_to_one")
    harvested = _harvested(heads)
    strata = LAYOUT_KINDS[trial.protocol.layout.kind].random_terms
    answers = {}
    for name, question in _questions(trial, treatments).items():
        answers[name] = _answer(trial, question, harvested[harvested[name].notna()], treatments, strata)
    losses = count_losses(layout, heads, trial.protocol.bucket.heads, treatments)
    decided = _decide(trial, treatments, layout, answers, losses)
    modelled = [answer.model for answer in answers.values() if answer.model]  # weight first
    return Results(
        schema="trialkit-results-1",
        trial=_about(trial),
        made_with=_versions(),
        inputs=tuple(InputFile(file, digest) for file, digest in sorted(trial.sha256.items())),
        seed=trial.protocol.seed,
        design=_design(trial, modelled[0] if modelled else None),
        losses=losses,
        responses={name: answer.result for name, answer in answers.items()},
        decision=None if isinstance(decided, str) else decided,
        no_decision=decided if isinstance(decided, str) else None,
    )


@dataclass(frozen=True)
class Answered:
    """A response with what its answer rests on; no model and no fits where it was not analysed."""

    result: ResponseResult
    rows: pd.DataFrame
    model: DerivedModel | None = None
    fits: Fits | None = None


def _answer(
    trial: Trial, question: Question, data: pd.DataFrame, treatments: pd.DataFrame, strata: Sequence[str]
) -> Answered:
    reason = _not_asked(trial, question.response, data)
    if reason:
        return Answered(ResponseResult(question.label, question.unit, "not analysed", reason), data)
    model = derive_model(data, list(treatments.columns), strata)
    result, fits = analyse_response(question, data, model)
    return Answered(result, data, model, fits)


def joint_treatments(trial: Trial) -> pd.DataFrame:
    """Treatment combinations, varied columns only, by joint label in factorial order."""
    columns = list(trial.protocol.treatment_columns)
    frame = trial.protocol.treatments()[columns].drop_duplicates(ignore_index=True)
    width = len(str(len(frame)))
    return frame.set_axis([f"t{i + 1:0{width}d}" for i in range(len(frame))])


def label_treatments(layout: pd.DataFrame, treatments: pd.DataFrame) -> pd.DataFrame:
    """Add the joint ``treatment`` to a layout; levels become ordered categories, so that tables keep their order."""
    columns = list(treatments.columns)
    keys = treatments.assign(treatment=treatments.index)
    labelled = layout.drop(columns=["treatment"], errors="ignore").merge(keys, on=columns, validate="many_to_one")
    for column in labelled.columns.intersection(["block", "whole_plot"]):
        labelled[column] = labelled[column].astype(str)  # a number would enter a model as a slope
    labelled["treatment"] = pd.Categorical(labelled["treatment"], categories=list(treatments.index))
    for column in columns:
        labelled[column] = pd.Categorical(labelled[column], categories=list(treatments[column].unique()))
    return labelled


def _harvested(heads: pd.DataFrame) -> pd.DataFrame:
    harvested = heads[heads["outcome"] == "harvested"]
    if harvested.empty:
        raise NotComputed("No head was harvested yet, so there is nothing to analyse.")
    days = (harvested["harvested_on"] - harvested["transplanted_on"]).dt.days
    return harvested.assign(days=days.astype(float))


def _questions(trial: Trial, treatments: pd.DataFrame) -> dict[str, Question]:
    confidence = trial.protocol.decision.confidence
    current = _current_label(trial, treatments)
    asked = {"weight_g": ("head weight", "g"), "days": ("days to harvest", "days")}
    return {name: Question(name, label, unit, treatments, current, confidence) for name, (label, unit) in asked.items()}


def _current_label(trial: Trial, treatments: pd.DataFrame) -> str:
    practice = trial.protocol.decision.current_practice
    names = {FACTOR_COLUMNS[factor]: level for factor, level in practice.items()}
    matches = (treatments == pd.Series({c: names[c] for c in treatments.columns})).all(axis=1)
    return str(treatments.index[matches][0])


def _not_asked(trial: Trial, name: str, data: pd.DataFrame) -> str | None:
    """Why a response is not analysed, if it is not."""
    wanted = trial.protocol.responses.weight if name == "weight_g" else trial.protocol.responses.days
    if not wanted:
        return "The protocol does not ask for it."
    if data.empty:
        return "No head has this record."
    if name == "days" and (data.groupby("site", observed=True)["harvested_on"].nunique() == 1).all():
        return FIXED_HARVEST
    return None


def _about(trial: Trial) -> About:
    about = trial.protocol.trial
    started = about.started_on.isoformat() if about.started_on else None
    return About(about.id, about.title, about.question, about.season, started, about.contact_role)


def _versions() -> dict[str, str]:
    return {"trialkit": version("trialkit"), "python": platform.python_version()} | {
        library: version(library) for library in LIBRARIES
    }


def _design(trial: Trial, model: DerivedModel | None) -> Design:
    protocol = trial.protocol
    taking_part = trial.sites[trial.sites["site"].isin(trial.layout["site"])].sort_values("site")
    columns = [field.name for field in fields(Site)]
    rows = taking_part.reindex(columns=columns).astype(object)
    return Design(
        kind=protocol.layout.kind,
        sites=tuple(Site(**row) for row in rows.where(rows.notna(), None).to_dict("records")),
        blocks_per_site=protocol.layout.blocks,
        buckets=len(trial.layout),
        heads_per_bucket=protocol.bucket.heads,
        heads=len(trial.layout) * protocol.bucket.heads,
        volume_l=protocol.bucket.volume_l,
        whole_plot=protocol.layout.whole_plot,
        factors=tuple(_factor(trial, name) for name in protocol.varied_factors),
        fixed=_fixed_factors(trial),
        acid_used=acid_used(trial.solution, trial.layout),
        notes=model.notes if model else (),
    )


def _factor(trial: Trial, name: str) -> VariedFactor:
    label, unit = FACTOR_WORDS[name]
    factor = next(factor for key, factor in trial.protocol.factors.items() if key == name)
    return VariedFactor(name, FACTOR_COLUMNS[name], label, unit, factor.levels, factor.product)


def _fixed_factors(trial: Trial) -> tuple[FixedFactor, ...]:
    return tuple(
        FixedFactor(name, FACTOR_WORDS[name][0], factor.levels[0], factor.product)
        for name, factor in trial.protocol.factors.items()
        if len(factor.levels) == 1
    )


def acid_used(solution: pd.DataFrame, layout: pd.DataFrame) -> tuple[AcidUsed, ...]:
    """Summarise the recorded acid by garden and acidifier, for buckets whose record has it."""
    records = solution[solution["acid_tsp"].notna()].merge(layout, on="bucket")
    records = records[records["acidifier"] != ""]
    return tuple(
        AcidUsed(
            str(site),
            str(acidifier),
            int(group["bucket"].nunique()),
            float(group["acid_tsp"].median()),
            float(group["ph_after"].median()),
        )
        for (site, acidifier), group in records.groupby(["site", "acidifier"], sort=True)
    )


def _decide(
    trial: Trial,
    treatments: pd.DataFrame,
    layout: pd.DataFrame,
    answers: Mapping[str, Answered],
    losses: Losses,
) -> Decision | str:
    """Judge the candidates that were tried, or say why none can be judged."""
    weight = answers["weight_g"]
    if weight.fits is None:
        return f"Head weight was not analysed. {weight.result.reason}"
    tried = weight.fits.joint.model.fixed.factors["treatment"]
    labels = [label for label in treatments.index if label in tried]
    current = _current_label(trial, treatments)
    if current not in labels:
        return "No head of the current practice was weighed, so there is nothing to compare the others with."
    comparisons = weight.result.comparisons
    df = min(comparison.df for comparison in comparisons)
    if not df >= FEWEST_DF:
        return (
            f"The trial is too small: a difference from the current practice has only {df:.1f} degrees of freedom for "
            "error, so that its chances cannot be reckoned."
        )
    candidates = treatments.loc[labels]
    days = _days_draws(trial, answers["days"], candidates)
    solution = trial.solution.merge(layout[["bucket", "acidifier"]], on="bucket")
    by_treatment = dict(zip(treatments.index, losses.by_treatment, strict=True))
    weighed = weight.rows
    return judge(
        draw_means(weight.fits.joint, labels, candidates, df, _seed(trial, WEIGHT_STREAM)),
        days,
        [{str(c): v for c, v in row.items()} for row in candidates.to_dict("records")],
        labels.index(current),
        worth(trial.protocol, trial.products, solution, candidates, labels.index(current), days is not None),
        _thresholds(trial),
        comparisons,
        [by_treatment[label].share_unusable for label in labels],
        Evidence(
            weighed["bucket"].nunique(),
            weighed["site"].nunique(),
            trial.protocol.trial.season,
            bool(weight.model and weight.model.confounded),
        ),
    )


def _days_draws(trial: Trial, days: Answered, candidates: pd.DataFrame) -> FloatArray | None:
    """Draw days to harvest where waiting costs something; None where they are not known for every candidate."""
    if days.fits is None or not trial.protocol.decision.delay_cost_per_day:
        return None
    labels = list(candidates.index)
    if not set(labels) <= set(days.fits.joint.model.fixed.factors["treatment"]):
        return None
    df = min(comparison.df for comparison in days.result.comparisons)
    if not df >= FEWEST_DF:
        return None
    return draw_means(days.fits.joint, labels, candidates, df, _seed(trial, DAYS_STREAM))


def _seed(trial: Trial, stream: int) -> int:
    return int(np.random.SeedSequence([trial.protocol.seed, stream]).generate_state(1, np.uint64)[0])


def _thresholds(trial: Trial) -> Thresholds:
    decision = trial.protocol.decision
    return Thresholds(
        margin_g=decision.margin_g,
        equivalence_margin_g=decision.equivalence_margin_g,
        adopt_probability=decision.adopt_probability,
        confidence=decision.confidence,
        price_per_kg=decision.price_per_kg,
        cost_per_bucket=decision.cost_per_bucket,
        delay_cost_per_day=decision.delay_cost_per_day,
    )

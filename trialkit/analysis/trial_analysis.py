"""`analyse`: everything that a trial has to say."""

from __future__ import annotations

import platform
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from importlib.metadata import version
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit._version import __version__
from trialkit.analysis.advising import advise
from trialkit.analysis.bucket_records import bucket_records, gardens_of, question_of, records_of
from trialkit.analysis.checks import missing_buckets
from trialkit.analysis.derived_model import derive_model
from trialkit.analysis.gardens import compare_gardens
from trialkit.analysis.losses import count_losses
from trialkit.analysis.other_readings import other_readings
from trialkit.analysis.recorded_responses import (
    DEGREE_DAYS,
    YIELD,
    Yields,
    bucket_yields,
    ripening,
    ripening_in_degree_days,
)
from trialkit.analysis.response import Answered, Question, analyse_response, not_analysed
from trialkit.analysis.water_chemistry import water_of
from trialkit.documents.decision import Caution, Decision, NoDecision
from trialkit.documents.departures import Departure
from trialkit.documents.findings import Check, Losses, NotAnalysed, NotAnalysedCode, Note, NoteCode, ResponseName
from trialkit.documents.results import (
    About,
    AcidUsed,
    Design,
    FeedPart,
    FixedFactor,
    InputFile,
    Results,
    Site,
    VariedFactor,
)
from trialkit.documents.water import RecordedWater
from trialkit.domain.errors import NotComputed
from trialkit.domain.factors import FACTORS, FactorName
from trialkit.domain.heads import is_harvested, is_recorded
from trialkit.domain.progress import each_told, working_on
from trialkit.domain.treatment import Treatment
from trialkit.languages import translatable
from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.rules.amendments import amendments_made
from trialkit.rules.departure_rules import find_departures
from trialkit.rules.mixings import acid_product, feed_of
from trialkit.rules.trial_folder import CheckedTrial

LIBRARIES = ("numpy", "scipy", "pandas", "formulaic", "statsmodels")
TIMES = ("days", DEGREE_DAYS)
"""Responses that are seen between two visits."""
RIPENING_STREAM, CHECKS_STREAM = 5, 6
"""Of the protocol's seed, besides that of the advice."""
CAUTIONED: tuple[Caution, ...] = ("missing", "residuals", "shape", "spread", "outlier")
"""Checks of the yields that, where they fail, are said beside the answer."""


@dataclass(frozen=True)
class RecordedTrial:
    """The records of a trial as its models take them, each bucket under the joint label of its treatment."""

    treatments: Annotated[pd.DataFrame, "Varied columns of every combination; the index is its joint label."]
    layout: Annotated[pd.DataFrame, "A row a bucket that counts, with its ``planned`` heads."]
    heads: Annotated[pd.DataFrame, "A row a head, with the columns of its bucket."]
    yields: Annotated[Yields, "What each bucket gave."]

    @property
    def weighed(self) -> pd.DataFrame:
        """The heads that were cut and weighed."""
        return self.heads[is_harvested(self.heads) & self.heads["weight_g"].notna()]


def recorded_trial(trial: CheckedTrial) -> RecordedTrial:
    """Bring records and layout of a checked trial together."""
    treatments = joint_treatments(trial)
    layout = label_treatments(trial.counting_buckets, treatments)
    heads = trial.counting_heads.merge(layout, on="bucket", validate="many_to_one")
    return RecordedTrial(treatments, layout, heads, bucket_yields(layout, heads, trial.protocol.bucket.heads))


def analyse(trial: CheckedTrial, *, all_pairs: bool = False) -> Results:
    """Analyse a checked trial.

    Parameters
    ----------
    trial : CheckedTrial
        As `trialkit.check` returns it; it must have no error.
    all_pairs : bool
        Whether every pair of treatments is compared, besides each with the current practice.

    Returns
    -------
    Results
        The same trial gives the same results; as JSON they are what ``schemas/results.schema.json`` describes.

    Raises
    ------
    NotComputed
        If no head was harvested.
    """
    working_on("what was lost")
    found = recorded_trial(trial)
    treatments, layout, heads, yields = found.treatments, found.layout, found.heads, found.yields
    strata = LAYOUT_KINDS[trial.protocol.layout.kind].random_terms
    if not is_harvested(heads).any():
        raise NotComputed(
            translatable(
                "No head was harvested yet, so there is nothing to analyse. Enter the harvest in heads.csv. If every "
                "head was lost, the trial has to be repeated."
            )
        )
    days = ripening(heads, trial.visits)
    records = {"weight_g": found.weighed, YIELD: yields.buckets, "days": days}
    notes = {YIELD: yields.notes, "days": _seen_between(days)}
    if len(trial.weather):
        records[DEGREE_DAYS] = ripening_in_degree_days(days, trial.weather)
        notes[DEGREE_DAYS] = (*notes["days"], *_without_weather(days, records[DEGREE_DAYS]))
    questions = _questions(trial, treatments, all_pairs=all_pairs)
    factors = list(treatments.columns)
    losses = count_losses(
        layout,
        heads,
        treatments,
        current_label(trial, treatments),
        trial.protocol.decision.confidence,
        strata,
    )
    answers = {
        name: _answer(trial, questions[name], records[name], strata, notes.get(name, ()))
        for name in each_told(tuple(records), "the responses")
    }
    missing = missing_buckets(
        layout, heads["bucket"][is_recorded(heads)], factors, trial.protocol.seed_of(CHECKS_STREAM)
    )
    answers[YIELD] = _with_check(answers[YIELD], missing)

    water = water_of(trial)
    departures = tuple(
        one.departure
        for one in find_departures(trial.protocol, trial.layout, trial.solution, trial.heads, trial.corrections)
        if one.departure.bucket in set(layout["bucket"])
    )
    working_on("what to recommend")
    decided = decide(trial, answers, losses, water, departures)
    if isinstance(decided, Decision):
        answers |= {
            name: _with_gardens(trial, questions[name], answers[name], decided) for name in answers if name not in TIMES
        }
    return Results(
        schema="trialkit-results-5",
        trial=_about(trial),
        made_with=_versions(),
        inputs=tuple(InputFile(file, digest) for file, digest in sorted(trial.sha256.items())),
        seed=trial.protocol.seed,
        confidence=trial.protocol.decision.confidence,
        design=_design(trial),
        losses=losses,
        water=water,
        responses={name: answer.result for name, answer in answers.items()},
        decision=decided if isinstance(decided, Decision) else None,
        no_decision=decided if isinstance(decided, NoDecision) else None,
        corrections=trial.corrections,
        amendments=amendments_made(trial.amendments),
        departures=departures,
    )


def decide(
    trial: CheckedTrial,
    answers: Mapping[str, Answered],
    losses: Losses,
    water: RecordedWater,
    departures: Sequence[Departure],
) -> Decision | NoDecision:
    """Say what to grow, or why that cannot be said."""
    if not trial.protocol.responses.weight:
        return NoDecision("not_asked")
    buckets = bucket_records(trial, answers["days"].result.buckets)
    records = records_of(trial, buckets, gardens_of(trial, water))
    advice = advise(records, question_of(trial))
    if isinstance(advice, NoDecision):
        return advice
    found = advice.decision
    return replace(
        found,
        cautions=tuple(_cautions(found, losses, answers[YIELD])),
        other_readings=tuple(other_readings(trial, records, buckets, advice, departures)),
    )


def _cautions(decision: Decision, losses: Losses, yields: Answered) -> Iterator[Caution]:
    """What is said beside the answer: whatever could well turn it."""
    if losses.go_with_the_treatment:
        yield "losses"
    if decision.evidence.failed_gardens:
        yield "failed_gardens"
    if decision.other_priors:
        yield "priors"
    failed = [check.id for check in yields.result.checks if not check.ok]
    yield from (one for name in failed for one in CAUTIONED if one == name)


def current_label(trial: CheckedTrial, treatments: pd.DataFrame) -> str:
    """Joint label of the current practice."""
    practice = trial.protocol.practice.among(treatments.columns)
    return str(treatments.index[[Treatment.of(row) for row in treatments.to_dict("records")].index(practice)])


def _with_gardens(trial: CheckedTrial, question: Question, answered: Answered, decision: Decision) -> Answered:
    """Set the decision's alternative beside the current practice at each garden."""
    if answered.fits is None or answered.rows["site"].nunique() < 2:
        return answered
    # A dose between those tried stood in no garden: what is next to it did.
    tried = {question.treatment(str(label)): label for label in question.treatments.index}
    rival = min(tried, key=lambda one: _apart(one, decision.alternative))
    labels = [tried[rival]]
    if str(labels[0]) == question.current:
        return answered
    gardens = compare_gardens(
        answered.rows,
        question.response,
        (str(labels[0]), question.current),
        rival,
        trial.sites,
        question.confidence,
    )
    return replace(answered, result=replace(answered.result, gardens=gardens))


def _apart(one: Treatment, other: Treatment) -> tuple[bool, bool, float]:
    doses = (one.dose_tsp or 0.0, other.dose_tsp or 0.0)
    return one.cultivar != other.cultivar, one.acidifier != other.acidifier, abs(doses[0] - doses[1])


def _with_check(answered: Answered, check: Check) -> Answered:
    """Put a check first, where the response was analysed."""
    result = answered.result
    if result.status != "analysed":
        return answered
    return replace(answered, result=replace(result, checks=(check, *result.checks)))


def _answer(
    trial: CheckedTrial,
    question: Question,
    data: pd.DataFrame,
    strata: Sequence[str],
    notes: Sequence[Note],
) -> Answered:
    """Analyse one response, unless there is a reason not to."""
    why = _not_asked(trial, question.response, data)
    if why:
        return not_analysed(question, data, NotAnalysed(why))
    factors = list(question.treatments.columns)
    model = derive_model(data, factors, strata)
    model = replace(model, notes=(*model.notes, *notes))
    seed = trial.protocol.seed_of(RIPENING_STREAM) if question.response in TIMES else None
    return analyse_response(question, data, model, seed)


def _without_weather(days: pd.DataFrame, kept: pd.DataFrame) -> tuple[Note, ...]:
    """Count the heads that the weather table does not reach."""
    left = len(days) - len(kept)
    return (Note("weather_unknown", left),) if left else ()


def _seen_between(days: pd.DataFrame) -> tuple[Note, ...]:
    """Count how the days were seen."""
    waiting = int(np.isinf(days["upper"]).sum())
    early = int(np.isinf(days["lower"]).sum())
    between = int(((days["upper"] > days["lower"]) & np.isfinite(days["upper"] - days["lower"])).sum())
    counted: Mapping[NoteCode, int] = {"days_drawn": between, "ready_at_first": early, "not_ready": waiting}
    return tuple(Note(code, count) for code, count in counted.items() if count)


def joint_treatments(trial: CheckedTrial) -> pd.DataFrame:
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
    for column in labelled.columns.intersection(["block", "whole_plot", "volunteer", "row", "column"]):
        labelled[column] = labelled[column].astype(str)  # a number would enter a model as a slope
    labelled["treatment"] = pd.Categorical(labelled["treatment"], categories=list(treatments.index))
    for column in columns:
        labelled[column] = pd.Categorical(labelled[column], categories=list(treatments[column].unique()))
    return labelled


def _questions(trial: CheckedTrial, treatments: pd.DataFrame, *, all_pairs: bool) -> dict[str, Question]:
    decision, heads = trial.protocol.decision, trial.protocol.bucket.heads
    shared = {
        "treatments": treatments,
        "current": current_label(trial, treatments),
        "confidence": decision.confidence,
        "seed": trial.protocol.seed_of(CHECKS_STREAM),
        "all_pairs": all_pairs,
    }
    margins = {"weight_g": decision.equivalence_margin_g, YIELD: decision.equivalence_margin_g * heads}
    units: Mapping[ResponseName, str] = {"weight_g": "g", YIELD: "g", "days": "days", DEGREE_DAYS: "°C d"}
    return {name: Question(name, unit, margin=margins.get(name, 0.0), **shared) for name, unit in units.items()}


def _not_asked(trial: CheckedTrial, name: str, data: pd.DataFrame) -> NotAnalysedCode | None:
    """Why a response is not analysed, if it is not."""
    wanted = trial.protocol.responses.days if name in TIMES else trial.protocol.responses.weight
    if not wanted:
        return "not_asked"
    if data.empty:
        return "no_record"
    if name in TIMES and (data.groupby("site", observed=True)["harvested_on"].nunique() <= 1).all():
        return "one_harvest_day"
    return None


def _about(trial: CheckedTrial) -> About:
    about = trial.protocol.trial
    started = about.started_on.isoformat() if about.started_on else None
    return About(about.id, about.title, about.question, about.season, started, about.contact_role)


def _versions() -> dict[str, str]:
    return {"trialkit": __version__, "python": platform.python_version()} | {
        library: version(library) for library in LIBRARIES
    }


def _design(trial: CheckedTrial) -> Design:
    protocol, buckets = trial.protocol, trial.counting_buckets
    columns = [field.name for field in fields(Site)]
    rows = trial.counting_sites.sort_values("site").reindex(columns=columns).astype(object)
    return Design(
        kind=protocol.layout.kind,
        sites=tuple(Site(**row) for row in rows.where(rows.notna(), None).to_dict("records")),
        blocks_per_site=protocol.layout.blocks,
        buckets=len(buckets),
        heads_per_bucket=protocol.bucket.heads,
        heads=int(buckets["planned"].sum()),
        volume_l=protocol.bucket.volume_l,
        whole_plot=protocol.layout.whole_plot,
        factors=tuple(_factor(trial, name) for name in protocol.varied_factors),
        fixed=_fixed_factors(trial),
        acid_used=acid_used(trial.solution, buckets, trial.products),
        measures=protocol.trial.measures,
        feed_parts=tuple(_feed_parts(trial)),
    )


def _feed_parts(trial: CheckedTrial) -> Iterator[FeedPart]:
    feed = feed_of(trial.protocol, trial.products)
    for product, tsp in feed.parts if feed else ():
        yield FeedPart(product.name, tsp, product.grams_per_tsp)


def _factor(trial: CheckedTrial, name: FactorName) -> VariedFactor:
    factor = trial.protocol.factors[name]
    of = next(one for one in FACTORS if one.name == name)
    return VariedFactor(name, of.column, of.unit, factor.levels, factor.product)


def _fixed_factors(trial: CheckedTrial) -> tuple[FixedFactor, ...]:
    return tuple(
        FixedFactor(name, factor.levels[0], factor.product)
        for name, factor in trial.protocol.factors.items()
        if len(factor.levels) == 1
    )


def acid_used(solution: pd.DataFrame, layout: pd.DataFrame, products: pd.DataFrame) -> tuple[AcidUsed, ...]:
    """Summarise the acid that buckets took in all, and their last pH, by garden and acidifier."""
    known = solution[solution["acid_tsp"].notna()].sort_values("measured_on", kind="stable")
    records = known.groupby("bucket", as_index=False).agg(acid_tsp=("acid_tsp", "sum"), ph_after=("ph_after", "last"))
    records = records.merge(layout[["bucket", "site", "acidifier"]], on="bucket")
    grouped = records[records["acidifier"] != ""].groupby(["site", "acidifier"], sort=True)
    summary = grouped.agg(buckets=("bucket", "nunique"), acid_tsp=("acid_tsp", "median"), ph=("ph_after", "median"))
    acids = {name: acid_product(products, name) for name in records["acidifier"].unique()}
    powders = {name: acid.grams_per_tsp for name, acid in acids.items() if acid and acid.is_powder}
    return tuple(
        AcidUsed(str(site), str(acidifier), int(buckets), float(acid_tsp), powders.get(str(acidifier)), float(ph))
        for (site, acidifier), buckets, acid_tsp, ph in summary.itertuples()
    )

"""Recommended defaults of an invented county."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from trialkit.documents.decision import (
    Candidate,
    Decision,
    DoseAdvice,
    DosePoint,
    Evidence,
    Gain,
    Spread,
    Stood,
    Thresholds,
    Verdict,
)
from trialkit.documents.recommended import (
    AcidForClass,
    AcidRatio,
    Change,
    EvidenceTrial,
    Expected,
    GardenGain,
    Practice,
    PracticePart,
    ProposedTrial,
    Recommended,
    TrialName,
)
from trialkit.domain.treatment import Treatment
from trialkit.languages import LANGUAGES

ACID = "white vinegar 5 %"
NEW = Treatment("Fenleaf", 8.0, ACID)
OLD = Treatment("Larkmoor Butter", 6.0, ACID)
BETWEEN = Treatment("Fenleaf", 7.0, ACID)
NEAR = Treatment("Fenleaf", 6.0, ACID)
SEASONS = ("autumn 2026", "spring 2027", "summer 2027")
N_PER_TSP = 22.5
GAIN = Gain(27.1, 11.6, 42.6)
PROPOSED = ProposedTrial(
    kind="randomised complete blocks",
    cultivars=("Fenleaf", "Larkmoor Butter"),
    doses_tsp=(7.0, 8.0),
    acidifiers=(ACID,),
    sites=("FERN", "MILL", "POND"),
    blocks=2,
    block_size=None,
    heads=4,
    treatments=4,
    buckets=24,
    value_g=1.43,
    change=0.21,
    worth_it=True,
)
Value = TypeVar("Value")


def candidate(
    treatment: Treatment, yield_g: float, gain: Gain | None, better: float | None, *, stood: Stood, chosen: bool = False
) -> Candidate:
    """A candidate that is recommended or not."""
    return Candidate(
        treatment=treatment,
        n_mg_l=N_PER_TSP * (treatment.dose_tsp or 0.0),
        stood=stood,
        raw_yield_g=yield_g + 4.0 if stood.buckets else None,
        yield_g=yield_g,
        weight_g=yield_g / 0.97,
        share_usable=0.97,
        share_unrecorded=0.0,
        expected_value=yield_g,
        gain=gain,
        probability_better=better,
        probability_near_best=0.94 if chosen else 0.4,
        expected_loss=1.7 if chosen else 20.0,
        is_current=gain is None,
        is_recommended=chosen,
    )


def small_decision() -> Decision:
    """A change of default after three trials."""
    tried = Stood(24, 4, 2)
    return Decision(
        verdict=Verdict.CHANGE,
        unit="g per transplanted head",
        current=OLD,
        recommended=NEW,
        alternative=NEW,
        thresholds=Thresholds(10.0, 3.0, 0.9, 0.95, None, 0.0, 0.0),
        candidates=(
            candidate(OLD, 139.3, None, None, stood=Stood(48, 12, 3)),
            candidate(NEAR, 155.0, Gain(15.7, 4.0, 27.0), 0.9, stood=tried),
            candidate(NEW, 166.4, GAIN, 0.97, stood=tried, chosen=True),
        ),
        evidence=Evidence(288, 12, 3, SEASONS, ()),
        dose=DoseAdvice(
            tuple(
                DosePoint(dose, N_PER_TSP * dose, mean, mean - 9, mean + 9, mean, mean + 4, 24)
                for dose, mean in ((6.0, 155.0), (8.0, 166.4))
            ),
            good_from_tsp=8.0,
            good_to_tsp=8.0,
            best_from_tsp=7.0,
            best_to_tsp=8.0,
            at_edge=True,
        ),
        spreads=(Spread("bucket", 19.0, 17.0, 21.5), Spread("garden", 12.0, 5.0, 22.0)),
        effective_points=60.0,
        draws=4096,
    )


def small_recommended() -> Recommended:
    """Return a change of default after three trials."""
    recommended, current = (
        Practice(treatment, n_mg_l, "Blend L 9-12-30", nutrient_g_per_tsp=5.0, volume_l=20.0, heads=4)
        for treatment, n_mg_l in ((NEW, 180.0), (OLD, 135.0))
    )
    return Recommended(
        schema="trialkit-recommended-4",
        version=2,
        date="2027-09-01",
        evidence_sha256="3547021f8e6a248f57bdecade9bcf9ab" * 2,
        made_with={"trialkit": "0.1.0"},
        recommended=recommended,
        current=current,
        yield_g=Expected(166.4, 156.0, 177.0, new_lower=141.2, new_upper=191.6),
        days=Expected(38.9, 37.8, 40.1, new_lower=33.7, new_upper=44.2),
        acid=(
            AcidForClass("low", 0.0, 60.0, 1.75, None, 1.0, 5.3, 6.0, 7.4, 8.4, gardens=7),
            AcidForClass("medium", 60.0, 120.0, 6.75, None, 1.0, 5.3, 6.0, 7.4, 8.4, gardens=6),
            AcidForClass("high", 120.0, 180.0, 11.5, None, 1.0, 5.3, 6.0, 7.4, 8.4, gardens=0),
            AcidForClass("very high", 180.0, 300.0, 18.75, None, 1.0, 5.3, 6.0, 7.4, 8.4, gardens=12),
        ),
        acid_ratio=AcidRatio(1.06, 0.97, 1.16, 168, 9),
        by_garden=(
            GardenGain("water", "low", 7, True, GAIN),
            GardenGain("water", "high", 0, False, Gain(25.0, -4.0, 54.0)),
            GardenGain("kind", "school", 2, False, Gain(24.2, 2.0, 47.0)),
            GardenGain("garden", "FERN", 1, True, Gain(30.4, 15.0, 45.0)),
        ),
        evidence=tuple(
            EvidenceTrial(f"{i}ba40f9d3f61f", "trial", f"trial-{i}", "A trial", season, 4, 96, 384, gain, gain and 7.8)
            for i, (season, gain) in enumerate(zip(SEASONS, (31.3, 24.0, None), strict=True))
        ),
        decision=small_decision(),
        change=Change(1, (TrialName("trial-2", "summer 2027"),), (), current),
        next_trial=PROPOSED,
        nitrogen_alone=None,
    )


def wordy_recommended() -> Recommended:
    """A document that says all there may be to say: a dose between, losses, another test, a row more of water.

    And a feed of three, one of them weighed, that lacks magnesium; and a powder for acid, by its solution.
    """
    usual = small_recommended()
    old, near, new = usual.decision.candidates
    between = replace(new, treatment=BETWEEN, stood=Stood(0, 0, 0), raw_yield_g=None, share_usable=0.7)
    decision = replace(
        usual.decision,
        verdict=Verdict.CHANGE_AND_TEST,
        recommended=BETWEEN,
        alternative=BETWEEN,
        candidates=(old, near, replace(new, is_recommended=False), between),
    )
    powder = [replace(row, acid_tsp=row.acid_tsp / 14, solution_tsp=row.acid_tsp * 48 / 14) for row in usual.acid]
    soft = replace(powder[0], upper=20.0, acid_tsp=0.0, solution_tsp=0.0, step_tsp=None, gardens=0)
    parts = PracticePart("calcium nitrate 15.5-0-0", 3.25, 5.0), PracticePart("magnesium sulfate 0-0-0", 0.1, 5.0)
    fed = {"N": 224.0, "Ca": 142.0, "Mg": 5.0}
    best = replace(usual.recommended, treatment=BETWEEN, parts=parts, elements_mg_l=fed)
    return replace(usual, recommended=best, decision=decision, acid=(soft, *powder))


def bare_recommended() -> Recommended:
    """Return defaults of which there is least to say: no dose, no acid, no days."""
    usual = small_recommended()
    best = replace(usual.recommended, treatment=Treatment("Fenleaf", None, "none"))
    return replace(usual, recommended=best, current=best, acid=(), days=None)


def spoilt_document(document: Value, words: Iterator[str]) -> Value:
    """Copy a document with every text that is free written by an attacker; what was one name before is one still."""
    names: dict[str, str] = {}

    def spoil(value: Any, kind: Any) -> Any:
        if isinstance(value, Enum) or Literal in {get_origin(part) for part in (kind, *get_args(kind))}:
            return value
        if isinstance(value, str) and value in LANGUAGES:
            return value  # it names a catalogue, and no other is read
        if isinstance(value, str):
            return names.setdefault(value, f"{next(words)}{len(names)}")
        if isinstance(value, tuple):
            return tuple(spoil(item, next(iter(get_args(kind)), None)) for item in value)
        if isinstance(value, dict):
            return {key: spoil(item, None) for key, item in value.items()}
        if is_dataclass(value) and not isinstance(value, type):
            kinds = get_type_hints(type(value))
            made = {field.name: spoil(getattr(value, field.name), kinds[field.name]) for field in fields(value)}
            return type(value)(**made)
        return value

    spoilt: Value = spoil(document, type(document))
    return spoilt

"""Recommended defaults of an invented county."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from small_trial import small_trial
from trialkit.documents.findings import Decision
from trialkit.documents.pooled import ClassGain, NextSize, PartialGain, TrialGain, TrialGains
from trialkit.documents.recommended import (
    AcidForClass,
    Change,
    ComparedTreatment,
    EvidenceTrial,
    Expected,
    FewTrials,
    GainsByClass,
    Gaps,
    Practice,
    ProposedTrial,
    Recommended,
    SourceOfVariation,
    TrialName,
)
from trialkit.domain.treatment import Treatment

NEW = Treatment("Fenleaf", 8.0, "white vinegar 5 %")
OLD = Treatment("Larkmoor Butter", 6.0, "white vinegar 5 %")
SEASONS = ("autumn 2026", "spring 2027", "summer 2027")
Value = TypeVar("Value")


@cache
def small_decision() -> Decision:
    """Return the decision of a small trial."""
    with TemporaryDirectory() as folder:
        decision = small_trial(Path(folder), cultivars=2, doses=2).decision
    assert decision is not None
    return decision


def small_recommended() -> Recommended:
    """Return a change of default after three trials."""
    recommended, current = (
        Practice(treatment, n_mg_l, "Blend L 9-12-30", nutrient_g_per_tsp=5.0, volume_l=20.0, heads=4)
        for treatment, n_mg_l in ((NEW, 180.0), (OLD, 135.0))
    )
    waters = (_class_gain("low", 2), _class_gain("medium", 0))
    return Recommended(
        schema="trialkit-recommended-2",
        version=2,
        date="2027-09-01",
        evidence_sha256="3547021f8e6a248f57bdecade9bcf9ab" * 2,
        made_with={"trialkit": "0.1.0"},
        recommended=recommended,
        current=current,
        alternative=NEW,
        probability_better=0.97,
        expected_loss=1.7,
        yield_g=Expected(166.4, 156.0, 177.0, new_lower=141.2, new_upper=191.6),
        days=Expected(38.9, 37.8, 40.1, new_lower=None, new_upper=None),
        acid=(
            AcidForClass("low", 0.0, 60.0, 1.75, None, 1.0, 5.3, 6.0, gardens=7),
            AcidForClass("medium", 60.0, 120.0, 6.75, None, 1.0, 5.3, 6.0, gardens=6),
            AcidForClass("high", 120.0, 180.0, 11.5, None, 1.0, 5.3, 6.0, gardens=0),
            AcidForClass("very high", 180.0, 300.0, 18.75, None, 1.0, 5.3, 6.0, gardens=12),
        ),
        classes=GainsByClass(water=waters, season=waters[1:], kind=waters[:1]),
        evidence=tuple(
            EvidenceTrial(
                f"{i}ba40f9d3f61f", "trial", f"trial-{i}", "A trial", season, 4, 96, 384, None if i == 2 else 30.0, 7.8
            )
            for i, season in enumerate(SEASONS)
        ),
        gardens=12,
        compared=(
            ComparedTreatment(OLD, 135.0, 139.3, 48, 3, 3, *[None] * 6),
            ComparedTreatment(NEW, 180.0, 166.4, 48, 3, 2, 27.1, 5.2, 140.1, 11.6, 42.6, 0.0001),
        ),
        not_linked=(Treatment("Mossridge", 6.0, "white vinegar 5 %"),),
        variation=(SourceOfVariation("trial", None, 0.0), SourceOfVariation("bucket", None, 19.0)),
        trial_gains=_trial_gains(),
        decision=small_decision(),
        change=Change(1, (TrialName("trial-2", "summer 2027"),), (), current),
        next_trial=ProposedTrial(
            NEW, Treatment("Fenleaf", 8.0, "citric acid"), 0.4, NextSize(23, 3, 138, 10.0, 0.8008, reached=True)
        ),
        gaps=Gaps((FewTrials("dose", 2),), (), (), None),
    )


def _class_gain(name: str, gardens: int) -> ClassGain:
    own, own_se = (31.0, 11.0) if gardens else (None, None)
    return ClassGain(name, int(gardens > 0), gardens, own, own_se, 30.4, 6.6, 54.2, borrowed=0.8)


def _trial_gains() -> TrialGains:
    gains = tuple(
        TrialGain(f"trial-{i}", season, gain, 7.8, 4)
        for i, (season, gain) in enumerate(zip(SEASONS, (31.3, 29.5, 18.0), strict=True))
    )
    return TrialGains(
        gains=gains,
        combined=None,
        cumulative=tuple(PartialGain(one.name, one.season, i + 1, 30.4, 12.0, 48.0) for i, one in enumerate(gains)),
        leave_one_out=tuple(PartialGain(one.name, one.season, 2, 30.4, 12.0, 48.0) for one in gains),
    )


def spoilt_document(document: Value, words: Iterator[str]) -> Value:
    """Copy a document with every text that is free written by an attacker; what was one name before is one still."""
    names: dict[str, str] = {}

    def spoil(value: Any, kind: Any) -> Any:
        if isinstance(value, Enum) or Literal in {get_origin(part) for part in (kind, *get_args(kind))}:
            return value
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

"""A season half entered, or gone wrong: whatever the records are, an answer or a reason, and no failure."""

import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.advice.gathering import BucketRecords
from trialkit.analysis import analyse
from trialkit.analysis.advising import Advice, advise
from trialkit.analysis.bucket_records import bucket_records, question_of, trial_records
from trialkit.analysis.water_chemistry import water_of
from trialkit.documents.decision import Decision, NoDecision
from trialkit.documents.document import as_text, from_text
from trialkit.documents.results import Results
from trialkit.domain.errors import NotComputed
from trialkit.rules.trial_folder import CheckedTrial, check_trial, read_trial

EXAMPLES = ("autumn_dose", "spring_dose", "volunteer_cultivars")
FATES = ("bolted", "dead", "eaten", "not_ready")
UNKNOWN = ("gave_up", "missing", "never_planted", "stolen", "")


@cache
def bundled(name: str) -> CheckedTrial:
    """Read a bundled example."""
    return read_trial(resource_folder("example_trials") / name)


def some(trial: CheckedTrial, seed: int) -> CheckedTrial:
    """Keep 3 to 100 of the head records."""
    rng = np.random.default_rng(seed)
    kept = rng.choice(len(trial.heads), int(rng.integers(3, 101)), replace=False)
    return replace(trial, heads=trial.heads.iloc[np.sort(kept)].reset_index(drop=True))


def fated(trial: CheckedTrial, cultivar: str, fate: str) -> CheckedTrial:
    """Let all heads of a cultivar meet one fate."""
    heads = trial.heads.copy()
    mine = heads["bucket"].map(trial.layout.set_index("bucket")["cultivar"]) == cultivar
    heads.loc[mine, "outcome"] = fate
    heads.loc[mine, "weight_g"] = np.nan
    heads.loc[mine, "marketable"] = pd.NA
    heads.loc[mine, "harvested_on"] = pd.NaT
    return replace(trial, heads=heads)


def records_of(trial: CheckedTrial) -> BucketRecords:
    """Gather what the advice reads."""
    return trial_records(trial, water_of(trial))


def advice_of(trial: CheckedTrial) -> Decision | NoDecision:
    """Advise from the records alone."""
    found = advise(records_of(trial), question_of(trial))
    return found.decision if isinstance(found, Advice) else found


def assert_sound(decision: Decision) -> None:
    """Every number is one, chances are chances, and one treatment is recommended."""
    for one in decision.candidates:
        numbers = [one.yield_g, one.weight_g, one.expected_value, one.expected_loss]
        if one.gain:
            numbers += [one.gain.estimate, one.gain.lower, one.gain.upper]
            assert one.gain.lower <= one.gain.upper
        assert np.isfinite(numbers).all()
        assert one.expected_loss >= 0
        chances = (one.share_usable, one.share_unrecorded, one.probability_near_best, one.probability_better or 0.0)
        assert all(0 <= chance <= 1 for chance in chances)
    assert [one.treatment for one in decision.candidates if one.is_recommended] == [decision.recommended]


@pytest.mark.parametrize("seed", range(24))
def test_a_handful_of_heads(seed: int) -> None:
    """3 to 100 heads, whichever they are, give a sound answer or say what is missing."""
    found = advice_of(some(bundled(EXAMPLES[seed % len(EXAMPLES)]), seed))
    if isinstance(found, Decision):
        assert_sound(found)
    else:
        assert found.code in ("nothing_usable", "no_practice_record", "one_treatment")


@pytest.mark.parametrize("fate", FATES)
@pytest.mark.parametrize("name", EXAMPLES)
def test_a_rival_that_gave_nothing_is_not_recommended(name: str, fate: str) -> None:
    """All heads of the best cultivar lost, each in its way: another is grown, or the practice."""
    found = advice_of(fated(bundled(name), "Fenleaf", fate))
    assert isinstance(found, Decision)
    assert_sound(found)
    assert found.recommended.cultivar != "Fenleaf"
    lost = next(one for one in found.candidates if one.treatment.cultivar == "Fenleaf")
    assert lost.share_usable < 0.25


@pytest.mark.parametrize("fate", FATES)
def test_a_practice_that_gave_nothing_is_given_up(fate: str) -> None:
    """All heads of the practice's cultivar lost: it has records, and anything that gives food is better."""
    found = advice_of(fated(bundled("spring_dose"), "Larkmoor Butter", fate))
    assert isinstance(found, Decision)
    assert_sound(found)
    assert found.recommended.cultivar == "Fenleaf"


@pytest.mark.parametrize("seed", [3, 5])
def test_the_whole_analysis_of_a_handful(seed: int) -> None:
    """Tables, checks and decision of few records go into one document, which is read back as it was written."""
    trial = some(bundled(EXAMPLES[2]), seed)
    results = analyse(trial)
    assert from_text(Results, as_text(results)) == from_text(Results, as_text(from_text(Results, as_text(results))))
    if results.decision:
        assert_sound(results.decision)


@pytest.mark.parametrize("fate", FATES)
def test_the_whole_analysis_where_a_cultivar_failed(fate: str) -> None:
    """However a cultivar failed, the analysis ends with an answer that is not it, and a loss that is said."""
    results = analyse(fated(bundled("spring_dose"), "Fenleaf", fate))
    assert results.decision is not None
    assert results.decision.recommended.cultivar != "Fenleaf"
    assert "losses" in results.decision.cautions


def given_up(trial: CheckedTrial, site: str, fate: str) -> CheckedTrial:
    """Let nobody know what became of the heads of a garden."""
    heads = trial.heads.copy()
    mine = heads["bucket"].map(trial.layout.set_index("bucket")["site"]) == site
    heads.loc[mine, ["outcome", "weight_g", "marketable", "harvested_on"]] = [fate, np.nan, pd.NA, pd.NaT]
    return replace(trial, heads=heads)


@pytest.mark.parametrize("name", ["autumn_dose", "spring_dose"])
def test_a_garden_that_gave_up_decides_nothing_by_how_its_blanks_are_coded(name: str) -> None:
    """Rows taken out, left blank or coded: one decision, to the last digit, with the heads that could turn it."""
    trial = bundled(name)
    heads, gardens = trial.heads, trial.layout.set_index("bucket")["site"]
    without = replace(trial, heads=heads[heads["bucket"].map(gardens) != "FERN"].reset_index(drop=True))
    expected = advice_of(without)
    assert isinstance(expected, Decision)
    assert expected.recommended.cultivar == "Fenleaf"
    assert advice_of(given_up(trial, "FERN", UNKNOWN[0])) == expected
    told = records_of(without)
    assert told.days is None
    for fate in UNKNOWN:  # the same records, so the same advice, of which they are all that is read
        coded = records_of(given_up(trial, "FERN", fate))
        assert coded.buckets.equals(told.buckets)
        assert coded.gardens.equals(told.gardens)
        assert (coded.head_variance, coded.days) == (told.head_variance, None)
    unrecorded = int((trial.layout["site"] == "FERN").sum()) * trial.protocol.bucket.heads
    assert sum(one.unrecorded for one in expected.tipping) <= unrecorded
    assert {one.treatment for one in expected.tipping} == {expected.current, expected.recommended}
    (turns,) = (one.turns_at for one in expected.tipping if one.treatment == expected.recommended)
    assert turns is not None
    assert 0 < turns < 0.5


def test_blanks_of_a_garden_that_gave_up_stop_nothing(tmp_path: Path) -> None:
    """Rows that have a bucket and a head and nothing more are warned of once, and read as no record."""
    folder = tmp_path / "trial"
    shutil.copytree(resource_folder("example_trials") / "spring_dose", folder)
    table = pd.read_csv(folder / "heads.csv", dtype=str, keep_default_na=False)
    gardens = pd.read_csv(folder / "layout.csv", dtype=str).set_index("bucket")["site"]
    gave_up = table["bucket"].map(gardens) == "FERN"
    table.loc[gave_up, [column for column in table if column not in ("bucket", "head")]] = ""
    table.to_csv(folder / "heads.csv", index=False)
    result = check_trial(folder)
    assert result.ok
    assert [(one.rule, one.severity) for one in result.problems if one.file == "heads.csv"] == [("TK-H20", "warning")]
    assert result.trial is not None
    coded = given_up(bundled("spring_dose"), "FERN", "gave_up")
    assert bucket_records(result.trial).equals(bucket_records(coded))


def test_the_whole_analysis_of_a_garden_that_gave_up() -> None:
    """Every number of every table is that of the trial without the garden's rows; fates alone are counted apart."""
    trial = bundled("spring_dose")
    heads, gardens = trial.heads, trial.layout.set_index("bucket")["site"]
    without = analyse(replace(trial, heads=heads[heads["bucket"].map(gardens) != "FERN"].reset_index(drop=True)))
    blank = analyse(given_up(trial, "FERN", "gave_up"))
    assert blank.losses.outcomes["gave_up"] == int((heads["bucket"].map(gardens) == "FERN").sum())
    assert replace(blank, losses=replace(blank.losses, outcomes=without.losses.outcomes)) == without


def test_nothing_was_harvested() -> None:
    """Where no head was cut there is nothing to analyse, and the reason says so."""
    trial = bundled("spring_dose")
    for cultivar in ("Fenleaf", "Larkmoor Butter"):
        trial = fated(trial, cultivar, "dead")
    with pytest.raises(NotComputed, match="No head was harvested yet"):
        analyse(trial)

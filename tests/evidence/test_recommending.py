"""Recommended defaults: judged as one trial is, versioned, the same bytes from the same ledger."""

import json
import shutil
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pandas as pd
import pytest

import small_trial
from seasons import ON, accept, season
from trialkit._resources import resource_folder
from trialkit.analysis import Results
from trialkit.documents.decision import Candidate, Stood
from trialkit.documents.document import as_data, as_text
from trialkit.documents.recommended import Recommended
from trialkit.documents.recommended_schema import recommended_schema
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.treatment import Treatment
from trialkit.evidence.accepting import trial_entry
from trialkit.evidence.ledger import add, withdraw
from trialkit.evidence.ledger_contents import read_ledger
from trialkit.evidence.ledger_index import read_index
from trialkit.evidence.pooling import read_buckets
from trialkit.evidence.recommending import recommend
from trialkit.evidence.summary_results import summary_entry
from trialkit.evidence.versions import pool_now, recommend_anew
from trialkit.planning.next_trial import propose
from trialkit.rules.trial_folder import read_trial
from trialkit.tables.problem import TrialError
from trialkit.words import default_words as words

Seasons = tuple[Path, tuple[Path, ...]]
First = tuple[Path, Recommended]
MEANS = (
    "citation,season,started_on,cultivar,n_mg_l,acidifier,mean_g,se_g,gardens,buckets\n"
    "An old report,autumn 2019,2019-08-10,Fenleaf,{n},,160,7,3,18\n"
    "An old report,autumn 2019,2019-08-10,Larkmoor Butter,{m},,141,7,3,18\n"
)


def kept(ledger: Path) -> list[Recommended]:
    """The versions in a ledger."""
    return [one.document for one in read_ledger(ledger).versions]


def test_schema_is_current_and_holds(first: First) -> None:
    """recommended.json is what schemas/recommended.schema.json describes, and that is made from the code."""
    schema = json.loads((resource_folder("schemas") / "recommended.schema.json").read_text("utf-8"))
    assert schema == recommended_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(as_data(first[1]), schema)


@pytest.mark.parametrize("name", ["autumn_dose", "spring_dose", "volunteer_cultivars"])
def test_a_ledger_of_one_trial_says_what_the_trial_says(
    name: str, example_results: Callable[[str], Results], tmp_path: Path
) -> None:
    """Verdict, dose, gains, chances, what is given up and the rest are the very numbers of the trial's own answer."""
    trial, results = read_trial(resource_folder("example_trials") / name), example_results(name)
    add(tmp_path / "ledger", trial_entry(trial, results, as_text(results).encode()), ON)
    ours, own = recommend(read_ledger(tmp_path / "ledger"), None, None, "0.1.0", propose).decision, results.decision
    assert own is not None
    columns = trial.protocol.treatment_columns
    assert (ours.verdict, ours.recommended.among(columns), ours.alternative.among(columns)) == (
        own.verdict, own.recommended, own.alternative,
    )  # fmt: skip
    told = [field.name for field in fields(Candidate) if field.name not in {"treatment", "n_mg_l"}]
    assert len(ours.candidates) == len(own.candidates)
    for mine, its in zip(ours.candidates, own.candidates, strict=True):
        assert mine.treatment.among(columns) == its.treatment
        assert numbers(mine, told) == pytest.approx(numbers(its, told), rel=1e-9)
    assert (ours.dose, ours.evidence, ours.spreads) == (own.dose, own.evidence, own.spreads)
    assert own.days_later is not None
    assert ours.days_later == pytest.approx(own.days_later, rel=1e-9)
    assert ours.days_later_limits == pytest.approx(own.days_later_limits, rel=1e-9)
    assert {one.days is not None for one in (*ours.candidates, *own.candidates)} == {True}


def numbers(candidate: Candidate, names: list[str]) -> list[float]:
    """Every number that a candidate is told with."""
    data = {name: as_data(getattr(candidate, name)) for name in names}
    flat = pd.json_normalize(data).iloc[0].dropna()
    return [float(value) for value in flat]


def test_what_a_version_says(first: First) -> None:
    """It rests on the three trials with their digests, tells one gain, and names the next trial."""
    ledger, document = first
    decision = document.decision
    assert document.version == 1
    assert [one.id for one in document.evidence] == [one.id for one in read_index(ledger).listed]
    assert len(decision.candidates) == 4
    assert decision.chosen.stood == Stood(buckets=12, gardens=2, trials=3)
    assert document.recommended.treatment == decision.recommended == Treatment("Fenleaf", 4.0)
    assert document.current.treatment == decision.current == Treatment("Larkmoor Butter", 2.0)
    assert document.yield_g.new_lower is not None
    assert document.yield_g.new_lower < document.yield_g.lower < document.yield_g.mean
    assert document.yield_g.mean == decision.chosen.yield_g
    days = document.days
    assert days is not None
    assert days.mean == decision.chosen.days
    assert days.new_lower is not None
    assert days.new_upper is not None
    assert days.new_lower < days.lower < days.mean < days.upper < days.new_upper
    assert document.change is None
    assert list(words.changes(document)) == ["This is the first version."]
    assert [(one.of, one.name, one.tried) for one in document.by_garden] == [
        ("garden", "s1", True), ("garden", "s2", True),
    ]  # fmt: skip
    assert document.next_trial is not None
    assert document.next_trial.cultivars[0] == decision.recommended.cultivar
    assert decision.recommended.dose_tsp in document.next_trial.doses_tsp
    assert document.next_trial.value_g > 1


def test_gains_of_trials_are_as_recorded(first: First, seasons: Seasons) -> None:
    """In balanced trials they are plain differences of means, with the error of buckets within gardens (by hand)."""
    rows = read_buckets(read_ledger(seasons[0]).entries)
    for i, one in enumerate(first[1].evidence):
        own = rows[rows["trial"] == f"{i:05d}"]
        ours = own[(own["cultivar"] == "Fenleaf") & (own["dose_tsp"] == 4.0)]
        practice = own[(own["cultivar"] == "Larkmoor Butter") & (own["dose_tsp"] == 2.0)]
        assert one.gain == pytest.approx(ours["yield_g"].mean() - practice["yield_g"].mean())
        within = [part.groupby("site")["yield_g"].var(ddof=1).mean() for part in (ours, practice)]
        assert one.gain_se == pytest.approx((sum(within) / 2 * (1 / 4 + 1 / 4)) ** 0.5)


def test_same_ledger_same_bytes(seasons: Seasons, first: First) -> None:
    """Again, and from a ledger without versions, the same bytes; no second version is written."""
    ledger, _ = first
    before = (ledger / "recommended.json").read_bytes()
    assert not recommend_anew(ledger, "0.1.0", propose).is_new
    assert (ledger / "recommended.json").read_bytes() == before
    assert len(kept(ledger)) == 1
    copy = Path(shutil.copytree(seasons[0], ledger.parent / "copy"))
    recommend_anew(copy, "0.1.0", propose)
    assert (copy / "recommended.json").read_bytes() == before
    assert as_text(pool_now(copy, "0.1.0", propose)).encode() == before


def test_a_version_on_withdrawn_evidence_is_as_if_never_made(seasons: Seasons, first: First, tmp_path: Path) -> None:
    """What follows is what a ledger that never had the trial says; back again, the sound version is the practice."""
    ledger, one = Path(shutil.copytree(first[0], tmp_path / "ledger")), first[1]
    withdraw(ledger, "three", "a mistake", date(2026, 12, 24))
    two = recommend_anew(ledger, "0.1.0", propose).document
    assert (two.version, two.date, two.change.since) == (2, "2026-12-24", 1)
    assert next(words.changes(two)) == "Withdrawn: three, autumn 2026."
    assert two.change.recommended == one.recommended
    assert two.current == one.current  # the protocol's own: the first version rested on the third trial
    never = Path(shutil.copytree(seasons[0], tmp_path / "never"))
    withdraw(never, "three", "a mistake", date(2026, 12, 24))
    assert pool_now(never, "0.1.0", propose).decision == two.decision
    accept(ledger, seasons[1][2], date(2026, 12, 31))
    three = recommend_anew(ledger, "0.1.0", propose).document
    assert (three.version, three.date) == (3, "2026-12-31")
    assert next(words.changes(three)) == "New evidence: three, autumn 2026."
    assert three.current == two.recommended
    assert [document.version for document in kept(ledger)] == [1, 2, 3]
    assert kept(ledger)[0] == one


def test_new_evidence_is_set_beside_the_last_default(seasons: Seasons, tmp_path: Path) -> None:
    """What was recommended last is what is said now; where it stays, the best of the others is told of."""
    ledger = tmp_path / "ledger"
    for folder in seasons[1][:2]:
        accept(ledger, folder)
    one = recommend_anew(ledger, "0.1.0", propose).document
    accept(ledger, seasons[1][2])
    two = recommend_anew(ledger, "0.1.0", propose).document
    assert two.current == one.recommended
    assert two.decision.candidate(two.decision.current).gain is None
    assert two.decision.alternative != two.decision.current


def test_a_default_between_the_doses_tried_stays_a_practice(seasons: Seasons, first: First) -> None:
    """Nothing stood in it, yet the model speaks of it, and so does the next version; beyond the range it does not."""
    found, once = read_ledger(seasons[0]), first[1]
    between = replace(once.recommended, treatment=Treatment("Fenleaf", 3.0), n_mg_l=67.5)
    document = recommend(found, once, replace(once, recommended=between), "0.1.0", propose)
    practice = document.decision.candidate(document.decision.current)
    assert (practice.treatment, practice.stood.buckets, practice.raw_yield_g) == (Treatment("Fenleaf", 3.0), 0, None)
    low, high = (document.decision.candidate(Treatment("Fenleaf", dose)).yield_g for dose in (2.0, 4.0))
    assert min(low, high) < practice.yield_g < max(low, high)
    assert [one.treatment.dose_tsp for one in document.decision.stood_as(practice)] == [2.0, 4.0]
    assert all(one.gain is not None for one in document.evidence)  # beside the two doses that it lies between
    beyond = replace(between, treatment=Treatment("Fenleaf", 6.0), n_mg_l=135.0)
    with pytest.raises(NotComputed, match="tried the current practice"):
        recommend(found, once, replace(once, recommended=beyond), "0.1.0", propose)


def test_a_trial_that_names_no_cultivar_tells_of_doses_alone(seasons: Seasons, tmp_path: Path) -> None:
    """It counts in the dose, and nothing without a name is a candidate, though its trial is the newest."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    first = recommend_anew(ledger, "0.1.0", propose).document
    accept(ledger, season(tmp_path / "four", "four", "winter 2026", "2026-08-05", sites=2, blocks=2, doses=2, seed=5))
    document = recommend_anew(ledger, "0.1.0", propose).document
    assert document.current.treatment == first.recommended.treatment
    assert {one.treatment.cultivar for one in document.decision.candidates} == {"Fenleaf", "Larkmoor Butter"}
    assert document.decision.evidence.buckets == first.decision.evidence.buckets + 8
    assert document.evidence[-1].gain is None
    assert any("four, winter 2026" in note for note in words.what_is_not_known(document))


def test_gardens_that_are_alike(tmp_path: Path) -> None:
    """Where waters differ each class has its gain: wider where nothing was tried, and counted where it was."""
    ledger = tmp_path / "ledger"
    accept(ledger, season(tmp_path / "w", "w", "spring 2026", "2026-03-01", sites=5, blocks=1, acidifiers=2, seed=3))
    waters = [one for one in pool_now(ledger, "0.1.0", propose).by_garden if one.of == "water"]
    assert [(one.name, one.gardens, one.tried) for one in waters] == [
        ("low", 0, False), ("medium", 2, True), ("high", 3, True), ("very high", 0, False),
    ]  # fmt: skip
    wide = [one.gain.upper - one.gain.lower for one in waters]
    assert wide[0] > wide[1]
    assert wide[3] > wide[2]


def test_means_count_by_their_standard_errors(seasons: Seasons, first: First, tmp_path: Path) -> None:
    """An older report moves the gain towards its own, the more the surer it is, and counts as no bucket."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    path = tmp_path / "old.csv"
    path.write_text(MEANS.format(n="much", m=45), "utf-8")
    with pytest.raises(TrialError, match=r"TK-V02 old.csv 2 n_mg_l"):
        summary_entry(path)
    path.write_text(MEANS.format(n=90, m=45).replace(",160,7,", ",90,7,"), "utf-8")
    add(ledger, summary_entry(path), ON)
    document = pool_now(ledger, "0.1.0", propose)
    assert [one.kind for one in document.evidence] == ["means", "trial", "trial", "trial"]
    assert document.evidence[0].gain is None
    usual, told = (one.decision.candidate(Treatment("Fenleaf", 4.0)) for one in (first[1], document))
    assert usual.gain is not None
    assert told.gain is not None
    assert told.gain.estimate < usual.gain.estimate
    assert told.stood == usual.stood
    assert told.share_usable == pytest.approx(usual.share_usable, abs=0.02)
    assert document.decision.evidence.buckets == first[1].decision.evidence.buckets


def test_nothing_to_recommend_from(seasons: Seasons, first: First, tmp_path: Path) -> None:
    """A practice that nobody tried, and a ledger in which nothing counts, are said in words."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    found = read_ledger(ledger)
    elsewhere = replace(first[1].recommended, treatment=Treatment("X", 2.0, "none"))
    with pytest.raises(NotComputed, match="tried the current practice"):
        recommend(found, None, replace(first[1], recommended=elsewhere), "0.1.0", propose)
    for one in read_index(ledger).listed:
        withdraw(ledger, one.id, "all wrong", ON)
    with pytest.raises(WrongCall, match=r"No trial in .* counts"):
        read_ledger(ledger)


def test_another_product_is_not_another_default(first: First, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half as strong, it takes twice the spoons for the same nitrogen; that nobody tried so much of it is said."""
    ledger, once = Path(shutil.copytree(first[0], tmp_path / "ledger")), first[1]
    text = small_trial.FACTORS["dose"][0]
    monkeypatch.setitem(small_trial.FACTORS, "dose", (text.replace("Blend L", "Thin Blend"), [1, 2]))
    monkeypatch.setattr(
        small_trial, "PRODUCTS", small_trial.PRODUCTS.replace("Blend L", "Thin Blend").replace(",9,", ",4.5,")
    )
    when: tuple[Any, ...] = ("late 2026", "2026-08-10")
    accept(ledger, season(tmp_path / "four", "four", *when, sites=2, blocks=2, cultivars=2, doses=2, seed=14))
    second = recommend_anew(ledger, "0.1.0", propose).document
    assert second.recommended.n_mg_l == once.recommended.n_mg_l == 90.0
    assert once.recommended.treatment.dose_tsp == 4.0
    assert second.recommended.treatment.dose_tsp == 8.0
    said = list(words.changes(second))[-1]
    assert "The default stays as it was. " in said
    assert "of Thin Blend bring the nitrogen that" in said
    assert any("No trial used this much of Thin Blend" in note for note in words.what_is_not_known(second))


def test_another_feed_is_pooled_by_its_nitrogen(first: First, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A base of 4.5 % N with half a teaspoon of calcium nitrate stands at the nitrogen of both; cards of it follow.

    By hand: 5 g of 4.5 % and 2.5 g of 18 % are 0.675 g in 20 L, 33.75 mg/L for each teaspoon.
    """
    ledger = Path(shutil.copytree(first[0], tmp_path / "ledger"))
    text = small_trial.FACTORS["dose"][0].replace("Blend L", "Thin Blend") + "parts = {{ calcium = 0.5 }}\n"
    monkeypatch.setitem(small_trial.FACTORS, "dose", (text, [2, 4]))
    shelf = small_trial.PRODUCTS.replace("Blend L", "Thin Blend").replace(",9,", ",4.5,")
    monkeypatch.setattr(small_trial, "PRODUCTS", shelf + "calcium,nutrient,18,0,0,5,6,,\n")
    when: tuple[Any, ...] = ("late 2026", "2026-08-10")
    accept(ledger, season(tmp_path / "four", "four", *when, sites=2, blocks=2, cultivars=2, doses=2, seed=14))
    found = read_ledger(ledger)
    rows = read_buckets(found.entries)
    newest = rows[rows["trial"] == rows["trial"].max()]
    assert sorted(newest["n_mg_l"].unique()) == [67.5, 135.0]
    assert found.n_per_tsp == pytest.approx(33.75)
    best = recommend_anew(ledger, "0.1.0", propose).document.recommended
    dose = best.treatment.dose_tsp
    assert dose is not None
    assert best.n_mg_l == pytest.approx(33.75 * dose)
    assert best.elements_mg_l["N"] == pytest.approx(best.n_mg_l)
    assert [(part.product, part.tsp) for part in best.parts] == [("calcium", pytest.approx(dose / 2))]
    assert found.entries[-1].of_trial.product == "Thin Blend with calcium"

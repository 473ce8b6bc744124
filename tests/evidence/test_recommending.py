"""Recommended defaults: judged as one trial is, versioned, the same bytes from the same ledger."""

import json
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import small_trial
from seasons import ON, accept, season
from trialkit._resources import resource_folder
from trialkit.documents.document import as_data, as_text
from trialkit.documents.recommended import Recommended
from trialkit.documents.recommended_schema import recommended_schema
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.treatment import Treatment
from trialkit.evidence.ledger import LedgerDamaged, add, read_index, withdraw
from trialkit.evidence.ledger_contents import current_label, label_of, read_ledger
from trialkit.evidence.recommending import recommend
from trialkit.evidence.summary_results import summary_entry
from trialkit.evidence.versions import history, pool_now, recommend_anew
from trialkit.tables.problem import TrialError
from trialkit.words import default_words as words

Seasons = tuple[Path, tuple[Path, ...]]
First = tuple[Path, Recommended]
MEANS = (
    "citation,season,started_on,cultivar,n_mg_l,acidifier,mean_g,se_g,gardens,buckets\n"
    "An old report,autumn 2019,2019-08-10,{ours},{n},,160,7,3,18\n"
    "An old report,autumn 2019,2019-08-10,{practice},{m},,141,7,3,18\n"
)


def test_schema_is_current_and_holds(first: First) -> None:
    """recommended.json is what schemas/recommended.schema.json describes, and that is made from the code."""
    schema = json.loads((resource_folder("schemas") / "recommended.schema.json").read_text("utf-8"))
    assert schema == recommended_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(as_data(first[1]), schema)


def test_what_a_version_says(first: First) -> None:
    """It rests on the three trials with their digests, compares all four treatments, and names the next trial."""
    ledger, document = first
    assert document.version == 1
    assert [one.id for one in document.evidence] == [one.id for one in read_index(ledger)]
    assert len(document.compared) == 4
    assert all(one.with_current == one.trials == 3 for one in document.compared)
    assert document.yield_g.new_lower is not None
    assert document.yield_g.new_lower < document.yield_g.lower < document.yield_g.mean
    assert document.days.lower < document.days.mean < document.days.upper
    assert [step.trials for step in document.trial_gains.cumulative] == [1, 2, 3]
    assert len(document.trial_gains.leave_one_out) == 3
    assert document.next_trial.size.power > 0
    assert document.change is None
    assert list(words.changes(document)) == ["This is the first version."]
    assert {one.name for one in document.classes.season} == {"spring", "summer", "autumn", "winter"}
    assert next(one for one in document.classes.season if one.name == "winter").borrowed == 1


def test_same_ledger_same_bytes(first: First) -> None:
    """Again, and from a copy without versions, the same bytes; no second version is written."""
    ledger, _ = first
    before = (ledger / "recommended.json").read_bytes()
    assert not recommend_anew(ledger, "0.1.0").is_new
    assert (ledger / "recommended.json").read_bytes() == before
    assert len(history(ledger)) == 1
    copy = ledger.parent / "copy"
    shutil.copytree(ledger, copy, ignore=shutil.ignore_patterns("history", "recommended.json"))
    recommend_anew(copy, "0.1.0")
    assert (copy / "recommended.json").read_bytes() == before
    assert as_text(pool_now(copy, "0.1.0")).encode() == before


def test_new_evidence_makes_a_new_version(seasons: Seasons, first: First, tmp_path: Path) -> None:
    """What came and went is said, the last default is the practice that others are set beside, and all is kept."""
    ledger, one = Path(shutil.copytree(first[0], tmp_path / "ledger")), first[1]
    withdraw(ledger, "three", "a mistake", date(2026, 12, 24))
    two = recommend_anew(ledger, "0.1.0").document
    assert (two.version, two.date, two.change.since) == (2, "2026-12-24", 1)
    assert next(words.changes(two)) == "Withdrawn: three, autumn 2026."
    assert two.current == one.recommended == two.change.recommended
    accept(ledger, seasons[1][2], date(2026, 12, 31))
    three = recommend_anew(ledger, "0.1.0").document
    assert (three.version, three.date) == (3, "2026-12-31")
    assert next(words.changes(three)) == "New evidence: three, autumn 2026."
    assert [document.version for document in history(ledger)] == [1, 2, 3]
    assert history(ledger)[0] == one
    path = ledger / "history" / "recommended-0002.json"
    whole = path.read_text("utf-8")
    for change, said in (
        (whole.replace("trialkit-recommended-2", "trialkit-recommended-1"), "written by another version of trialkit"),
        (whole.replace('"version": 2', '"version": "two"'), "is not version 2 as it was written"),
        (whole[:-9], "is not version 2 as it was written"),
    ):
        path.write_text(change, "utf-8")
        with pytest.raises(LedgerDamaged, match=said):
            recommend_anew(ledger, "0.1.0")
    path.unlink()
    with pytest.raises(LedgerDamaged, match="is not version 2"):
        recommend_anew(ledger, "0.1.0")


def test_means_enter_the_combined_gain_alone(seasons: Seasons, first: First, tmp_path: Path) -> None:
    """Their gain stands first among the trials, with its citation; the model of buckets does not know of it."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    bare = first[1]
    ours, practice = bare.alternative, bare.current.treatment
    assert ours.dose_tsp is not None
    assert practice.dose_tsp is not None
    path = tmp_path / "old.csv"
    levels = {"ours": ours.cultivar, "practice": practice.cultivar}
    path.write_text(MEANS.format(**levels, n="much", m=5), "utf-8")
    with pytest.raises(TrialError, match=r"TK-V02 old.csv 2 n_mg_l"):
        summary_entry(path)
    doses = {"n": 22.5 * ours.dose_tsp, "m": 22.5 * practice.dose_tsp}
    path.write_text(MEANS.format(**levels, **doses), "utf-8")
    add(ledger, summary_entry(path), ON)
    document = pool_now(ledger, "0.1.0")
    assert document.compared == bare.compared
    told = document.trial_gains.gains
    assert [one.citation for one in told] == ["An old report", "", "", ""]
    assert told[0].gain == 19.0
    assert told[0].se == pytest.approx(7 * 2**0.5)
    assert [one.kind for one in document.evidence] == ["means", "trial", "trial", "trial"]


def test_one_trial_does_not_make_a_default(seasons: Seasons, tmp_path: Path) -> None:
    """From three trials on, a treatment that one alone tried is not recommended, whatever it found, but named."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))

    def heavier(heads: Any) -> Any:
        chosen = (heads["cultivar"] == "Copperfrill") & (heads["outcome"] == "harvested")
        heads.loc[chosen, "weight_g"] = (heads.loc[chosen, "weight_g"].astype(int) + 90).astype(str)
        return heads

    size = {"sites": 3, "blocks": 2, "cultivars": 3, "doses": 2, "days": False}
    accept(ledger, season(tmp_path / "four", "four", "winter 2026", "2026-08-02", **size, seed=5, change=heavier))
    document = pool_now(ledger, "0.1.0")
    assert document.recommended.treatment.cultivar != "Copperfrill"
    best = max(document.compared, key=lambda one: one.mean)
    assert best.treatment.cultivar == "Copperfrill"
    assert {one.cultivar for one in document.gaps.tried_once} == {"Copperfrill"}
    assert any(
        "Tried in one trial only" in note and "Copperfrill" in note for note in words.what_is_not_known(document)
    )
    assert document.next_trial.rival.cultivar == "Copperfrill"


def test_nothing_to_recommend_from(seasons: Seasons, first: First, tmp_path: Path) -> None:
    """An empty ledger, and a practice that nobody tried, are said in words."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    found = read_ledger(ledger)
    with pytest.raises(NotComputed, match=r"tried the current practice \(Mossridge, 2 tsp\)"):
        label_of(found, Treatment("Mossridge", 2.0))
    elsewhere = replace(first[1].recommended, treatment=Treatment("X", 2.0, "none"))
    with pytest.raises(NotComputed, match="tried the current practice"):
        recommend(found, replace(first[1], recommended=elsewhere), "0.1.0")
    label = current_label(found, None)
    last = replace(first[1], recommended=found.practice(label))
    found.__dict__["n_per_tsp"] = found.n_per_tsp / 2  # today's nutrient is half as strong: the practice is what it was
    assert current_label(found, last) == label
    for one in read_index(ledger):
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
    when = ("late 2026", "2026-08-10")
    accept(ledger, season(tmp_path / "four", "four", *when, sites=3, blocks=2, cultivars=2, doses=2, seed=14))
    second = recommend_anew(ledger, "0.1.0").document
    assert second.recommended.n_mg_l == pytest.approx(once.recommended.n_mg_l, rel=0.05)
    assert once.recommended.treatment.dose_tsp is not None
    assert second.recommended.treatment.dose_tsp == 2 * once.recommended.treatment.dose_tsp
    said = list(words.changes(second))[-1]
    assert "The default stays as it was: " in said
    assert "of Thin Blend bring the nitrogen that" in said
    assert any("No trial used this much of Thin Blend" in note for note in words.what_is_not_known(second))

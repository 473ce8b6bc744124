"""Recommended defaults: judged as one trial is, versioned, the same bytes from the same ledger."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import small_trial
from seasons import ON, accept, season
from trialkit._resources import resource_folder
from trialkit.documents.findings import Verdict
from trialkit.documents.recommended_schema import recommended_schema
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.evidence.ledger import LedgerDamaged, add, read_index, withdraw
from trialkit.evidence.older import means_contents
from trialkit.evidence.recommending import recommend
from trialkit.evidence.situation import practice, practice_label, situation
from trialkit.evidence.versions import history, pool_now, recommend_anew
from trialkit.tables.problem import TrialError

Seasons = tuple[Path, tuple[Path, ...]]
MEANS = (
    "citation,season,started_on,cultivar,n_mg_l,acidifier,mean_g,se_g,gardens,buckets\n"
    "An old report,autumn 2019,2019-08-10,{ours},{n},,160,7,3,18\n"
    "An old report,autumn 2019,2019-08-10,{practice},{m},,141,7,3,18\n"
)


@pytest.fixture(scope="module")
def first(seasons: Seasons, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A ledger with its first version."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path_factory.mktemp("first") / "ledger"))
    return ledger, recommend_anew(ledger, "0.1.0").document


def test_schema_is_current_and_holds(first: tuple[Path, dict[str, Any]]) -> None:
    """recommended.json is what schemas/recommended.schema.json describes, and that is made from the code."""
    schema = json.loads((resource_folder("schemas") / "recommended.schema.json").read_text("utf-8"))
    assert schema == recommended_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(first[1], schema)


def test_what_a_version_says(first: tuple[Path, dict[str, Any]]) -> None:
    """It rests on the three trials with their digests, compares all four treatments, and names the next trial."""
    ledger, document = first
    assert document["version"] == 1
    assert [one["id"] for one in document["evidence"]] == [one.id for one in read_index(ledger)]
    assert len(document["compared"]) == 4
    assert all(one["beside"] == one["trials"] == 3 for one in document["compared"])
    assert document["verdict"] in set(Verdict)
    assert document["yield_g"]["new_lower"] < document["yield_g"]["lower"] < document["yield_g"]["mean"]
    assert document["days"]["lower"] < document["days"]["mean"] < document["days"]["upper"]
    assert [step["trials"] for step in document["together"]["growing"]] == [1, 2, 3]
    assert len(document["together"]["without"]) == 3
    assert document["next_trial"]["size"]["power"] > 0
    assert document["changed"] == {"since": None, "sentences": ["This is the first version."]}
    assert {one["name"] for one in document["classes"]["season"]} == {"spring", "summer", "autumn", "winter"}
    assert next(one for one in document["classes"]["season"] if one["name"] == "winter")["borrowed"] == 1


def test_same_ledger_same_bytes(first: tuple[Path, dict[str, Any]]) -> None:
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
    assert json.loads(json.dumps(pool_now(copy, "0.1.0"))) == json.loads(before)


def test_new_evidence_makes_a_new_version(seasons: Seasons, tmp_path: Path) -> None:
    """What came and went is said, the last default is the practice that others are set beside, and all is kept."""
    ledger = tmp_path / "ledger"
    for folder in seasons[1][:2]:
        accept(ledger, folder)
    one = recommend_anew(ledger, "0.1.0").document
    accept(ledger, seasons[1][2], date(2026, 12, 24))
    two = recommend_anew(ledger, "0.1.0").document
    assert (two["version"], two["date"], two["changed"]["since"]) == (2, "2026-12-24", 1)
    assert two["changed"]["sentences"][0] == "New evidence: three, autumn 2026."
    assert two["current"] == one["recommended"]
    withdraw(ledger, "three", "a mistake", date(2026, 12, 31))
    three = recommend_anew(ledger, "0.1.0").document
    assert three["changed"]["sentences"][0] == "Withdrawn: three, autumn 2026."
    assert [document["version"] for document in history(ledger)] == [1, 2, 3]
    assert history(ledger)[0] == one
    (ledger / "history" / "recommended-0002.json").unlink()
    with pytest.raises(LedgerDamaged, match="is not version 2"):
        recommend_anew(ledger, "0.1.0")


def test_older_means_enter_the_combined_gain_alone(seasons: Seasons, tmp_path: Path) -> None:
    """Their gain stands first among the trials, with its citation; the model of buckets does not know of it."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    bare = pool_now(ledger, "0.1.0")
    ours, practice = bare["alternative"], bare["current"]
    path = tmp_path / "old.csv"
    levels = {"ours": ours["cultivar"], "practice": practice["cultivar"]}
    path.write_text(MEANS.format(**levels, n="much", m=5), "utf-8")
    with pytest.raises(TrialError, match=r"old.csv, row 2, column n_mg_l"):
        means_contents(path)
    doses = {"n": 22.5 * ours["dose_tsp"], "m": 22.5 * practice["dose_tsp"]}
    path.write_text(MEANS.format(**levels, **doses), "utf-8")
    add(ledger, means_contents(path), ON)
    document = pool_now(ledger, "0.1.0")
    assert document["compared"] == bare["compared"]
    told = document["together"]["gains"]
    assert [one["citation"] for one in told] == ["An old report", "", "", ""]
    assert told[0]["gain"] == 19.0
    assert told[0]["se"] == pytest.approx(7 * 2**0.5)
    assert [one["kind"] for one in document["evidence"]] == ["means", "trial", "trial", "trial"]


def test_one_trial_does_not_make_a_default(seasons: Seasons, tmp_path: Path) -> None:
    """From three trials on, a treatment that one alone tried is not recommended, whatever it found, but named."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))

    def heavier(heads: Any) -> Any:
        chosen = (heads["cultivar"] == "Copperfrill") & (heads["outcome"] == "harvested")
        heads.loc[chosen, "weight_g"] = (heads.loc[chosen, "weight_g"].astype(int) + 90).astype(str)
        return heads

    size = {"sites": 3, "blocks": 2, "cultivars": 3, "doses": 2}
    accept(ledger, season(tmp_path / "four", "four", "winter 2026", "2026-08-02", **size, seed=5, change=heavier))
    document = pool_now(ledger, "0.1.0")
    assert document["recommended"]["cultivar"] != "Copperfrill"
    best = max(document["compared"], key=lambda one: one["mean"])
    assert best["treatment"]["cultivar"] == "Copperfrill"
    assert any("Tried in one trial only" in note and "Copperfrill" in note for note in document["notes"])
    assert document["next_trial"]["treatments"][1]["cultivar"] == "Copperfrill"


def test_nothing_to_recommend_from(seasons: Seasons, tmp_path: Path) -> None:
    """An empty ledger, and a practice that nobody tried, are said in words."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    found = situation(ledger)
    with pytest.raises(NotComputed, match=r"tried the current practice \(Mossridge"):
        practice_label(found, {"cultivar": "Mossridge"})
    with pytest.raises(NotComputed, match="tried the current practice"):
        recommend(
            found,
            {"version": 1, "recommended": {"cultivar": "X", "dose_tsp": 2.0, "n_mg_l": 45.0, "acidifier": "none"}},
            "0.1.0",
        )
    last = found.default(practice_label(found, practice(found, None)))
    found.__dict__["n_per_tsp"] = found.n_per_tsp / 2  # today's nutrient is half as strong: the practice is what it was
    assert practice_label(found, practice(found, {"recommended": vars(last)})) == practice_label(found, vars(last))
    for one in read_index(ledger):
        withdraw(ledger, one.id, "all wrong", ON)
    with pytest.raises(WrongCall, match=r"No trial in .* counts"):
        situation(ledger)


def test_another_product_is_not_another_default(
    seasons: Seasons, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half as strong, it takes twice the spoons for the same nitrogen; that nobody tried so much of it is said."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    first = recommend_anew(ledger, "0.1.0").document
    text = small_trial.FACTORS["dose"][0]
    monkeypatch.setitem(small_trial.FACTORS, "dose", (text.replace("Blend L", "Thin Blend"), [1, 2]))
    monkeypatch.setattr(
        small_trial, "PRODUCTS", small_trial.PRODUCTS.replace("Blend L", "Thin Blend").replace(",9,", ",4.5,")
    )
    when = ("late 2026", "2026-08-10")
    accept(ledger, season(tmp_path / "four", "four", *when, sites=3, blocks=2, cultivars=2, doses=2, seed=14))
    second = recommend_anew(ledger, "0.1.0").document
    assert second["recommended"]["n_mg_l"] == pytest.approx(first["recommended"]["n_mg_l"], rel=0.05)
    assert second["recommended"]["dose_tsp"] == 2 * first["recommended"]["dose_tsp"]
    assert "The default stays as it was: " in second["changed"]["sentences"][-1]
    assert "of Thin Blend bring the nitrogen that" in second["changed"]["sentences"][-1]
    assert any("No trial used this much of Thin Blend" in note for note in second["notes"])

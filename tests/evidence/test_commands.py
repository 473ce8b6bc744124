"""The evidence commands as a user runs them: real processes, their output and exit status."""

import json
import shutil
from pathlib import Path

import jsonschema
import pytest
from PIL import Image

from commands import DATA_ERROR, DONE, WRONG_CALL, run
from trialkit._resources import resource_folder
from unset_sheets import unset_sheets

Seasons = tuple[Path, tuple[Path, ...]]


def test_add_list_withdraw(seasons: Seasons, tmp_path: Path) -> None:
    """A trial is added once, listed, withdrawn with a reason; after a changed byte list exits with 1 and names it."""
    ledger = tmp_path / "ledger"
    added = run("evidence", "add", seasons[1][0], "--ledger", ledger)
    assert (added.returncode, added.stdout[:6]) == (DONE, "Added ")
    again = run("evidence", "add", seasons[1][0], "--ledger", ledger)
    assert (again.returncode, "in the ledger already" in again.stderr) == (WRONG_CALL, True)
    listed = run("evidence", "list", "--ledger", ledger, "--json")
    document = json.loads(listed.stdout)["answer"]
    assert (listed.returncode, [one["trial"] for one in document["entries"]]) == (DONE, ["one"])
    assert run("evidence", "withdraw", "one", "--ledger", ledger).returncode == WRONG_CALL
    gone = run("evidence", "withdraw", "one", "--why", "wrong nutrient", "--ledger", ledger)
    assert (gone.returncode, gone.stdout.startswith("Withdrawn: ")) == (DONE, True)
    assert "wrong nutrient" in run("evidence", "list", "--ledger", ledger).stdout
    back = run("evidence", "readmit", "one", "--why", "right after all", "--ledger", ledger)
    assert (back.returncode, back.stdout.startswith("Counts again: ")) == (DONE, True)
    assert "wrong nutrient" not in run("evidence", "list", "--ledger", ledger).stdout
    path = ledger / "entries" / document["entries"][0]["id"] / "heads.csv"
    path.write_bytes(path.read_bytes() + b" ")
    damaged = run("evidence", "list", "--ledger", ledger)
    assert damaged.returncode == DATA_ERROR
    assert "heads.csv was changed" in damaged.stderr


def test_a_trial_must_be_analysed_first(tmp_path: Path) -> None:
    """Without results nothing is added, and what to do is said."""
    trial = Path(shutil.copytree(resource_folder("example_trials") / "spring_dose", tmp_path / "trial"))
    done = run("evidence", "add", trial, "--ledger", tmp_path / "ledger")
    assert done.returncode == WRONG_CALL
    assert "trialkit analyse" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "ledger").exists()


def test_pool_and_recommend(seasons: Seasons, tmp_path: Path) -> None:
    """Both speak in sentences and in JSON by the published schema; the files are where they say, and stay the same.

    What gardeners get names the county; a county.toml that cannot be read is told before anything is written.
    """
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    schema = json.loads((resource_folder("schemas") / "recommended.schema.json").read_text("utf-8"))
    pooled = run("evidence", "pool", "--ledger", ledger, "--json")
    assert pooled.returncode == DONE, pooled.stderr
    jsonschema.validate(json.loads(pooled.stdout)["answer"], schema)
    assert (ledger / "pool.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    (tmp_path / "county.toml").write_text("[county]\n", "utf-8")
    wrong = run("recommend", ledger)
    assert (wrong.returncode, "county.name" in wrong.stderr) == (DATA_ERROR, True)
    assert not (ledger / "recommended.json").exists()
    (tmp_path / "county.toml").unlink()
    Image.new("RGB", (64, 48), "#1c6b3a").save(tmp_path / "emblem.png")
    run("county", tmp_path, "--name", "Larkmoor <County>", "--contact", "Desk", "--logo", tmp_path / "emblem.png")
    done = run("recommend", ledger)
    assert done.returncode == DONE, done.stderr
    assert "Version 1 (new)" in done.stdout
    pages = ["handout", "handout_large", "care"]
    texts = [(ledger / f"{page}.html").read_text("utf-8") for page in pages]
    assert all("Larkmoor &lt;County&gt;" in text for text in texts)
    assert ["data:image/png;base64," in text for text in texts] == [True, True, False]
    names = ["recommended.json", *(f"{page}.html" for page in pages)]
    if "handout-a4.pdf" in done.stdout:
        names += [f"{page}-{paper}.pdf" for page in pages for paper in ("a4", "letter")]
    before = {name: (ledger / name).read_bytes() for name in names}
    again = run("recommend", ledger, "--json")
    assert json.loads(again.stdout)["answer"]["version"] == 1
    assert {name: (ledger / name).read_bytes() for name in names} == before


@unset_sheets()
def test_recommend_in_several_languages(seasons: Seasons, tmp_path: Path) -> None:
    """The first under the plain names; pages in one that is not asked for again are taken away, nobody else's are."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path / "ledger"))
    both = run("recommend", ledger, "--language", "en", "--language", "es", "--language", "en")
    assert both.returncode == DONE, both.stderr
    for name in ("handout", "handout_large", "care"):
        assert '<html lang="en">' in (ledger / f"{name}.html").read_text("utf-8")
        assert '<html lang="es-US">' in (ledger / f"{name}-es.html").read_text("utf-8")
        assert f"{name}-es.html" in both.stdout
    assert (ledger / "handout-es-letter.pdf").exists() == ("handout-letter.pdf" in both.stdout)
    assert not (ledger / "handout-en.html").exists()
    (ledger / "care-es.html").write_text("mine", "utf-8")
    (ledger / "handout-fr.html").write_text("mine", "utf-8")
    run("county", ledger, "--name", "Larkmoor County", "--language", "es")
    spanish = run("recommend", ledger)
    assert "Taken away, as their language was not asked for: handout-es" in spanish.stdout
    assert '<html lang="es-US">' in (ledger / "handout.html").read_text("utf-8")
    left = {path.name for path in ledger.glob("*-*.*") if "mine" not in path.read_text("utf-8", "replace")}
    assert {name for name in left if "-es" in name} == set()
    assert {(ledger / name).read_text("utf-8") for name in ("care-es.html", "handout-fr.html")} == {"mine"}
    unknown = run("recommend", ledger, "--language", "xx")
    assert (unknown.returncode, "'en', 'es'" in unknown.stderr) == (WRONG_CALL, True)


@pytest.mark.parametrize("command", [["evidence", "pool", "--ledger"], ["recommend"], ["evidence", "list", "--ledger"]])
def test_what_is_no_ledger_is_said(tmp_path: Path, command: list[str]) -> None:
    """An empty folder is no ledger, and no traceback comes of it."""
    done = run(*command, tmp_path)
    assert done.returncode == WRONG_CALL
    assert "is no ledger" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["add", "list", "pool", "withdraw", "readmit"])
def test_help_has_an_example(command: str) -> None:
    """Each part of evidence explains itself with an example."""
    assert "Example: trialkit evidence" in run("evidence", command, "--help").stdout

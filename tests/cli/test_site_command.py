"""`trialkit site`, and a layout that is frozen, as a user meets them."""

from __future__ import annotations

import json
import zipfile
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from commands import DONE, WRONG_CALL, run, start
from contents import contents
from returned_files import good_return
from trialkit.rules.trial_folder import read_trial

GOOD = good_return()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A trial whose forms are printed."""
    folder = GOOD.write_trial(tmp_path / "trial")
    assert run("forms", folder).returncode == DONE
    return folder


def test_a_garden_joins(folder: Path) -> None:
    """In a process of its own: what was done, that all else stays, and what comes next."""
    result = start("site", folder, "BARN", "--add", "--why", "a teacher asked", "--on", "2026-09-01")
    assert result.returncode == DONE, result.stderr
    assert "BARN joined on 2026-09-01 with 2 blocks and 8 buckets" in result.stdout
    assert "All other gardens stay as they are." in result.stdout
    assert f"Next: trialkit forms {folder}" in result.stdout
    assert run("forms", folder).returncode == DONE
    assert (folder / "forms" / "pack-BARN.html").exists()


def test_as_json(folder: Path) -> None:
    """Change, number, day, reason and labels; today where no day is given."""
    document = json.loads(run("site", folder, "BARN", "--add", "--blocks", 1, "--why", "asked", "--json").stdout)[
        "answer"
    ]
    assert (document["change"], document["layout_version"], document["blocks"]) == ("joined", 2, 1)
    assert len(document["buckets"]) == 4
    date.fromisoformat(document["on"])
    document = json.loads(run("site", folder, "MILL", "--withdraw", "--why", "moved", "--json").stdout)["answer"]
    assert (document["change"], document["layout_version"], document["buckets"]) == ("withdrew", 3, [])
    result = run("site", folder, "MILL", "--rejoin", "--why", "back", "--on", "2026-10-01")
    assert "MILL takes part again since 2026-10-01" in result.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("BARN", "--why", "so"), "one of --add, --withdraw and --rejoin"),
        (("BARN", "--add", "--withdraw", "--why", "so"), "one of --add, --withdraw and --rejoin"),
        (("MILL", "--withdraw", "--blocks", 2, "--why", "so"), "--blocks is for a garden that joins"),
        (("MILL", "--rejoin", "--language", "es", "--why", "so"), "--language is for a garden that joins"),
        (("MILL", "--rejoin", "--why", "so"), "MILL takes part"),
        (("BARN", "--add"), "--why"),
        (("BARN", "--add", "--why", "so", "--on", "1.9.2026"), "--on"),
        (("MILLS", "--withdraw", "--why", "\x1b[31m"), "Did you mean MILL?"),
        (("BARN", "--add", "--why", "so", "--blocks", 0), "--blocks"),
    ],
)
def test_a_wrong_call_changes_nothing(folder: Path, words: tuple[object, ...], said: str) -> None:
    """What is missing or does not fit is named."""
    before = contents(folder)
    result = run("site", folder, *words)
    assert result.returncode == WRONG_CALL
    assert said in result.stderr
    assert "\x1b" not in result.stderr
    assert contents(folder) == before


def test_a_layout_is_frozen_once_forms_are_printed(folder: Path) -> None:
    """It is not drawn anew; what to do is said, also where nothing was handed out."""
    before = contents(folder)
    result = start("layout", folder)
    assert result.returncode == WRONG_CALL
    assert f"trialkit site {folder} NAME --add" in result.stderr
    assert "If nothing was handed out yet, take away the folder forms" in result.stderr
    assert contents(folder) == before
    for path in (folder / "forms").iterdir():
        path.unlink()
    assert run("layout", folder).returncode == DONE


def test_a_layout_is_frozen_once_it_was_amended(folder: Path) -> None:
    """Even where the forms were taken away."""
    assert run("site", folder, "MILL", "--withdraw", "--why", "moved").returncode == DONE
    for path in (folder / "forms").iterdir():
        path.unlink()
    result = run("layout", folder)
    assert result.returncode == WRONG_CALL
    assert "amendments.csv" in result.stderr


def test_labels_of_a_trial_beside_this_one_are_told(folder: Path) -> None:
    """Labels numbered through a trial are those of others too."""
    other = GOOD.write_trial(folder.parent / "other")
    assert "Some labels are also those of the trial autumn-dose" in run("layout", other).stdout


def test_a_new_trial_draws_lots_by_garden(tmp_path: Path) -> None:
    """What `trialkit new` writes; another garden then changes no other garden's rows, nor does one left out."""
    folder = tmp_path / "spring"
    asked = ("--question", "Which?", "--cultivar", "A", "--cultivar", "B", "--current", "A")
    assert run("new", folder, *asked, "--site", "FERN", "--site", "MILL").returncode == DONE
    assert run("layout", folder).returncode == DONE
    first = (folder / "layout.csv").read_text("utf-8").splitlines()
    sites = (folder / "sites.csv").read_text("utf-8")
    (folder / "sites.csv").write_text(f"{sites}ASH{',' * sites.splitlines()[0].count(',')}\n", "utf-8")
    assert run("layout", folder).returncode == DONE
    second = (folder / "layout.csv").read_text("utf-8").splitlines()
    assert [line for line in second if ",ASH," not in line] == first


def test_results_report_and_pack_tell_who_joined_and_withdrew(tmp_path: Path) -> None:
    """With number, day and reason; the same inputs give the same report again."""
    folder = tmp_path / "trial"
    assert run("new", folder, "--example", "volunteer_cultivars").returncode == DONE
    assert run("site", folder, "BARN", "--add", "--why", "a teacher asked", "--on", "2026-09-01").returncode == DONE
    assert run("site", folder, "BARN", "--withdraw", "--why", "moved away", "--on", "2026-09-20").returncode == DONE
    assert run("check", folder).returncode == DONE
    assert run("analyse", folder).returncode == DONE
    assert run("report", folder).returncode == DONE
    assert run("report", folder, "--verify").returncode == DONE
    results = json.loads((folder / "results" / "results.json").read_text("utf-8"))
    assert [(one["layout_version"], one["site"], one["change"]) for one in results["amendments"]] == [
        (2, "BARN", "joined"),
        (3, "BARN", "withdrew"),
    ]
    assert "amendments.csv" in {one["file"] for one in results["inputs"]}
    report = (folder / "results" / "report.html").read_text("utf-8")
    for said in ("BARN joined", "a teacher asked", "BARN withdrew", "moved away", "2026-09-20"):
        assert said in report
    assert run("pack", folder).returncode == DONE
    (packed,) = (folder / "results").glob("*.zip")
    with zipfile.ZipFile(packed) as archive:
        assert archive.read("amendments.csv") == (folder / "amendments.csv").read_bytes()
        resources = {one["name"] for one in json.loads(archive.read("datapackage.json"))["resources"]}
    assert "amendments" in resources
    with (folder / "amendments.csv").open("a", encoding="utf-8") as stream:
        stream.write("4,2026-09-21,BARN,left,,x\n")
    assert run("report", folder).returncode == WRONG_CALL


@pytest.mark.parametrize("known", ["", "row", "row with a language"])
def test_a_garden_joins_with_its_language(folder: Path, known: str) -> None:
    """In sites.csv, whether that has a row of it, or the column, or neither; the others keep what they have."""
    sites = folder / "sites.csv"
    before = read_trial(folder, stage="layout").sites
    text = sites.read_text("utf-8")
    header, *rows = text.splitlines()
    if known:
        rows.append("BARN" + "," * header.count(","))
    if known == "row with a language":
        header, rows = f"{header},language", [f"{row},{'en' if row.startswith('BARN') else ''}" for row in rows]
    sites.write_text("\n".join([header, *rows]) + "\n", "utf-8")
    done = run("site", folder, "BARN", "--add", "--language", "es", "--why", "asked", "--json")
    assert done.returncode == 0, done.stderr
    assert "sites.csv" in json.loads(done.stdout)["answer"]["changed"]
    after = read_trial(folder, stage="layout")
    assert after.language_of("BARN") == "es"
    pd.testing.assert_frame_equal(after.sites[after.sites["site"] != "BARN"].reset_index(drop=True), before)
    refused = run("site", folder, "BARN", "--withdraw", "--language", "es", "--why", "asked")
    assert "--language is for a garden that joins" in refused.stderr

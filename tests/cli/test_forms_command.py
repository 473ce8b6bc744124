"""`trialkit forms` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

from commands import DONE, WRONG_CALL, run
from laid_out_trial import laid_out


def test_three_files_a_garden_and_one_for_the_adviser(tmp_path: Path) -> None:
    """Written, listed, said what to do with; a second run writes the same bytes; no input is touched."""
    folder = laid_out(tmp_path / "trial").folder
    inputs = {path.name: path.read_bytes() for path in folder.glob("[!.]*.*")}
    result = run("forms", folder, watched=True)
    assert result.returncode == DONE, result.stderr
    assert "Forms for 3 gardens" in result.stdout
    assert result.stderr.splitlines()[0] == "Working out forms of gardens ..."
    assert result.stderr.endswith("[##############################] 3 of 3 \n")
    kinds = ("pack-{}.html", "record-{}.xlsx", "phone-{}.html")
    names = {"adviser.html"} | {kind.format(site) for kind in kinds for site in ("FERN", "MILL", "STAT")}
    files = {path.name: path.read_bytes() for path in (folder / "forms").iterdir()}
    assert set(files) == names
    again = json.loads(run("forms", folder, "--json").stdout)
    assert again["written"] == sorted(f"forms/{name}" for name in names)
    assert {path.name: path.read_bytes() for path in (folder / "forms").iterdir()} == files
    assert {path.name: path.read_bytes() for path in folder.glob("[!.]*.*")} == inputs


def test_forms_of_a_garden_that_withdrew_are_left_over(tmp_path: Path) -> None:
    """They are named and stay; no new ones are written."""
    folder = laid_out(tmp_path / "trial").folder
    run("forms", folder)
    assert run("site", folder, "STAT", "--withdraw", "--why", "moved away").returncode == DONE
    (folder / "forms" / "pack-STAT.html").write_text("old", "utf-8")
    result = run("forms", folder)
    assert "Left over from gardens that withdrew or are not in the layout: pack-STAT.html" in result.stdout
    assert (folder / "forms" / "pack-STAT.html").read_text("utf-8") == "old"


def test_without_a_layout_it_says_what_to_run(tmp_path: Path) -> None:
    """One sentence that says how to fix it; nothing is written."""
    folder = laid_out(tmp_path / "trial").folder
    (folder / "layout.csv").unlink()
    result = run("forms", folder)
    assert result.returncode == WRONG_CALL
    assert "Run trialkit layout" in result.stderr
    assert not (folder / "forms").exists()


def test_a_blind_trial_says_who_may_see_what(tmp_path: Path) -> None:
    """The adviser is told not to hand on the pages that name treatments."""
    result = run("forms", laid_out(tmp_path / "trial", blind=True).folder)
    assert "The trial is blind: do not give this file to the gardens." in result.stdout


def test_forms_that_lead_elsewhere_are_refused(tmp_path: Path) -> None:
    """A link out of the trial folder is not written through."""
    folder = laid_out(tmp_path / "trial").folder
    (tmp_path / "elsewhere").mkdir()
    (folder / "forms").symlink_to(tmp_path / "elsewhere")
    result = run("forms", folder)
    assert result.returncode == WRONG_CALL
    assert list((tmp_path / "elsewhere").iterdir()) == []

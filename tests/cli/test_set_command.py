"""`trialkit set`, and the method that does the same."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

import trialkit
from commands import DONE, WRONG_CALL, run
from contents import contents
from trialkit.domain.errors import WrongCall
from trialkit.protocol.starting import copy_example

FERN = ("--question", "Which?", "--site", "FERN", "--cultivar", "A", "--cultivar", "B", "--current", "A", "--seed", "1")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A trial that was just begun."""
    assert run("new", tmp_path / "trial", *FERN).returncode == DONE
    return tmp_path / "trial"


def test_keys_and_tables_at_once(folder: Path, tmp_path: Path) -> None:
    """The method writes what the command writes."""
    same = shutil.copytree(folder, tmp_path / "same")
    (tmp_path / "gardens.txt").write_text("Garden\tLanguage\nFERN\tSpanish\nMILL\t\n", "utf-8")
    words = ("layout.blocks=2", "trial.season=spring 2028", "schedule.sow_on=2028-02-01", "bucket.brim_l=")
    result = run("set", folder, *words, "--table", f"sites={tmp_path / 'gardens.txt'}")
    assert (result.returncode, result.stderr) == (DONE, "")
    assert result.stdout.splitlines()[:2] == [
        "Set, and written to trial.toml and sites.csv.",
        f"Next: trialkit plan {folder}",
    ]
    trial = trialkit.Trial(folder)
    assert (trial.protocol.layout.blocks, trial.protocol.trial.season) == (2, "spring 2028")
    assert trial.sites()[["site", "language"]].to_numpy().tolist() == [["FERN", "es"], ["MILL", ""]]
    made = trialkit.Trial(same).set(
        {"layout.blocks": 2, "trial.season": "spring 2028", "schedule.sow_on": trial.protocol.schedule.sow_on}
        | {"bucket.brim_l": None},
        tables={"sites": pd.DataFrame({"site": ["FERN", "MILL"], "language": ["es", ""]})},
    )
    assert made.changed == ("trial.toml", "sites.csv")
    assert contents(same) == contents(folder)
    assert "says so already" in run("set", folder, "layout.blocks=2").stdout


def test_all_problems_at_once_and_nothing_written(folder: Path, tmp_path: Path) -> None:
    """Of keys and of tables, as check tells them."""
    (tmp_path / "gardens.csv").write_text("site,sun_hours\nFERN,99\nFERN,3\n", "utf-8")
    before = contents(folder)
    table = f"sites={tmp_path / 'gardens.csv'}"
    result = run("set", folder, "layout.block=2", "bucket.heads=99", "--table", table)
    assert result.returncode == WRONG_CALL
    for place in ("layout.block:", "bucket.heads:", "row 2, column sun_hours", "row 3, column site"):
        assert place in result.stderr, place
    assert 'Did you mean "blocks"?' in result.stderr
    assert contents(folder) == before


def test_files_of_a_plan_are_judged_together(folder: Path, tmp_path: Path) -> None:
    """A product that the table does not list is refused, and taken with a table that lists it."""
    keys = ("factors.dose.levels=[2, 4]", "decision.current_practice.dose=4", "factors.dose.product=Quell")
    assert "a product of products.csv" in run("set", folder, *keys).stderr
    (tmp_path / "p.csv").write_text("Product,Kind\nQuell,nutrient\n", "utf-8")
    assert run("set", folder, *keys, "--table", f"products={tmp_path / 'p.csv'}").returncode == DONE
    assert len(trialkit.Trial(folder).protocol.treatments()) == 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "Say what to set"),
        (("blocks=2",), "is no key of trial.toml"),
        (("layout.blocks",), "is not KEY=VALUE"),
        (("layout.blocks=2", "layout.blocks=3"), "given twice"),
        (("--table", "heads=x.csv"), "sites=FILE or products=FILE"),
    ],
)
def test_a_wrong_call(folder: Path, words: tuple[str, ...], said: str) -> None:
    """Is told, and changes nothing."""
    before = contents(folder)
    result = run("set", folder, *words)
    assert (result.returncode, said in result.stderr) == (WRONG_CALL, True), result.stderr
    assert contents(folder) == before


def test_what_a_frozen_layout_stands_on_stays(tmp_path: Path) -> None:
    """Lots, treatments and the rule of the decision; titles, days, prices and label figures may change."""
    copy_example("spring_dose", tmp_path / "trial")
    trial = trialkit.Trial(tmp_path / "trial")
    before = contents(trial.folder)
    for key in ("layout.blocks", "decision.margin_g"):
        with pytest.raises(WrongCall, match=f"So {key} can no longer change. These may still"):
            trial.set({key: 2})
    with pytest.raises(WrongCall, match=r"sites.csv must go on naming just .* --add --why"):
        trial.set_table("sites", trial.sites().iloc[1:])
    assert contents(trial.folder) == before
    products = trial.products().assign(price_per_kg=3.0)
    made = trial.set({"trial.season": "spring", "layout.blocks": 3}, tables={"products": products})
    assert made.changed == ("trial.toml", "products.csv")
    assert trial.protocol.trial.season == "spring"


def test_a_layout_that_was_drawn_is_told_to_be_drawn_again(folder: Path) -> None:
    """Until forms are printed; then `layout` draws it by the plan as it is."""
    run("layout", folder)
    assert json.loads(run("set", folder, "trial.season=spring", "--json").stdout)["answer"]["draw_again"] is False
    result = run("set", folder, "layout.blocks=2")
    assert f"Draw it again: trialkit layout {folder}" in result.stdout
    trial = trialkit.Trial(folder)
    assert len(trial.layout(again=True)) == 4


def test_nothing_is_written_over_what_was_changed_meanwhile(folder: Path) -> None:
    """Whoever saw an older file is told."""
    trial = trialkit.Trial(folder)
    with pytest.raises(WrongCall, match=r"trial.toml changed since"):
        trial.set({"layout.blocks": 2}, seen={"trial.toml": "0"})
    assert trial.protocol.layout.blocks == 3


def test_a_trial_is_begun_whole(folder: Path, tmp_path: Path) -> None:
    """`Trial.new` with settings is `new` and then `set`."""
    (tmp_path / "g.csv").write_text("site,language\nFERN,es\n", "utf-8")
    run("set", folder, "trial.season=spring", "--table", f"sites={tmp_path / 'g.csv'}")
    made = trialkit.Trial.new(
        tmp_path / "once" / "trial",
        question="Which?",
        sites=["FERN"],
        cultivars=["A", "B"],
        practice={"cultivar": "A"},
        seed=1,
        settings={"trial.season": "spring"},
        tables={"sites": "site,language\nFERN,es\n"},
    )
    assert contents(made.folder) == contents(folder)
